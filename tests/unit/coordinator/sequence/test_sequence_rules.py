"""Rules beyond the one sample of each code: what else they see, and what they let pass."""

from pathlib import Path

import pytest

from coordinator.core.plan import Plan
from coordinator.sequence import load
from tests.support.sequence_files import SEQUENCES, codes_of, findings_of, write_sequence

FREE_ORDER = """
barriers:
  met: {timeout: 5 min}

lanes:
  fore:
    - do: locate_joint
      id: seen
    - do: park
      id: parked
    - do: change_tool
      with: {tool: wrench}
      after: [seen]
    - barrier: met
    - do: turn_wrench_over
      after: [parked]
  aft:
    - barrier: met
"""


def after_names(plan: Plan, node: int) -> list[str]:
    """Return the names of what a node waits for."""
    return [plan.nodes[before].name for before in plan.nodes[node].after]


def test_after_names_replace_the_step_above_and_a_barrier_gathers_all(tmp_path: Path) -> None:
    """A barrier divides its lane, also where the order between steps is free."""
    plan = load(write_sequence(tmp_path, FREE_ORDER)).plan
    names = [plan.nodes[node].name for node in plan.lanes[0]]

    waits = {name: after_names(plan, node) for name, node in zip(names, plan.lanes[0], strict=True)}

    assert waits == {
        "locate joint": [],
        "park": ["locate joint"],
        "change tool wrench": ["locate joint"],
        "met": ["park", "change tool wrench"],
        "turn wrench over": ["met"],
    }


def test_mistakes_of_all_three_files_are_told_at_once(tmp_path: Path) -> None:
    """SQ4: An author who mends one mistake must not meet the next one only then."""
    path = write_sequence(tmp_path, "lanes: {fore: [{do: park, timeout: 5 mmm}], aft: 7}\n")
    cell = tmp_path / "cells" / "sill_point.yaml"
    cell.write_text(cell.read_text().replace("good_when: string_still", "good_when: string_stil"))
    joint = tmp_path / "joints" / "airlift_16in_8.yaml"
    joint.write_text(joint.read_text().replace("friction: 0.07", "friction: slippery"))

    found = [(Path(one.file).name, one.code) for one in findings_of(path)]

    assert found == [
        ("small.yaml", "SEQ011"),
        ("small.yaml", "SEQ008"),
        ("sill_point.yaml", "SEQ028"),
        ("airlift_16in_8.yaml", "SEQ008"),
    ]


def test_a_mistake_in_a_block_is_told_once_however_often_it_is_used(tmp_path: Path) -> None:
    """SQ4: The block is used by eight bolts; the author made one mistake."""
    body = """
lanes:
  fore:
    - each: pair
      steps:
        - {do: locate_hole, with: {bolt: $pair.own, sort: 1}}
  aft:
    - each: pair
      steps:
        - {do: locate_hole, with: {bolt: $pair.own}}
"""
    assert codes_of(write_sequence(tmp_path, body)) == ["SEQ015"]


def test_a_misspelt_name_is_answered_with_the_nearest_one(tmp_path: Path) -> None:
    """The commonest mistake gets the shortest way out."""
    (finding,) = findings_of(write_sequence(tmp_path, "lanes: {fore: [{do: locate_jiont}]}\n"))

    assert finding.do == "did you mean 'locate_joint' or 'locate_bolt'?"


@pytest.mark.parametrize(
    "written",
    ["$joint.torque.x", "2 * $joint.torque", "$$joint", "${joint.torque}", "$Joint.torque"],
)
def test_a_reference_is_a_whole_value_and_nothing_is_evaluated(
    tmp_path: Path, written: str
) -> None:
    """Files hold no code and no free expressions."""
    body = f'lanes: {{fore: [{{do: locate_hole, with: {{bolt: "{written}"}}}}]}}\n'

    assert codes_of(write_sequence(tmp_path, body)) == ["SEQ013"]


def test_a_block_does_not_see_the_loop_of_whoever_uses_it(tmp_path: Path) -> None:
    """A block that leans on its surroundings could not be used elsewhere."""
    body = """
blocks:
  look: {steps: [{do: locate_hole, with: {bolt: $pair.own}}]}
lanes:
  fore: [{each: pair, steps: [{use: look}]}]
"""
    assert codes_of(write_sequence(tmp_path, body)) == ["SEQ013"]


def test_a_value_of_another_kind_does_not_pass_through_a_reference(tmp_path: Path) -> None:
    """SQ25: The count of bolts is no bolt, though both are whole numbers."""
    body = "lanes: {fore: [{do: locate_hole, with: {bolt: $joint.bolt_count}}]}\n"

    assert codes_of(write_sequence(tmp_path, body)) == ["SEQ012"]


def test_barriers_in_loops_of_different_length_do_not_meet(tmp_path: Path) -> None:
    """SQ10: Fore comes to it once for each round, aft once for each pair."""
    body = """
barriers: {met: {timeout: 5 min}}
lanes:
  fore: [{each: round, steps: [{barrier: met}]}]
  aft: [{each: pair, steps: [{barrier: met}]}]
"""
    assert {*codes_of(write_sequence(tmp_path, body))} == {"SEQ035"}


def test_a_ring_of_barriers_over_three_lanes_is_found(tmp_path: Path) -> None:
    """SQ10: No two lanes contradict each other, only all three together."""
    body = """
barriers: {one: {timeout: 1 s}, two: {timeout: 1 s}, three: {timeout: 1 s}}
lanes:
  fore: [{barrier: one}, {barrier: two}]
  aft: [{barrier: two}, {barrier: three}]
  hoist: [{barrier: three}, {barrier: one}]
"""
    (finding,) = findings_of(write_sequence(tmp_path, body))

    assert finding.code == "SEQ037"
    assert all(f"{lane} has" in finding.what for lane in ("fore", "aft", "hoist"))


@pytest.mark.parametrize(
    "part", ["paired_until: pulled", "balance: 1 kN.m", "stop: 3 s, balance: 1 kN.m"]
)
def test_a_barrier_that_is_paired_in_part_is_refused(tmp_path: Path, part: str) -> None:
    """A span without balance or stop time would have no band and no bound."""
    body = f"""
barriers: {{pull: {{timeout: 1 s, {part}}}, pulled: {{timeout: 1 s}}}}
lanes:
  fore: [{{barrier: pull}}, {{barrier: pulled}}]
  aft: [{{barrier: pull}}, {{barrier: pulled}}]
"""
    assert codes_of(write_sequence(tmp_path, body)) == ["SEQ007"]


def test_a_recovery_needs_the_tool_in_hand(tmp_path: Path) -> None:
    """SQ17: `back_off` needs the spinner; the wrench is mounted."""
    body = """
policies:
  seating: {socket_not_seated: {attempts: 2, recover: [{do: back_off, with: {turns: 2}}]}}
lanes:
  fore:
    - {do: change_tool, with: {tool: wrench}}
    - {do: seat_wrench, with: {bolt: 1}, policy: seating}
"""
    assert codes_of(write_sequence(tmp_path, body)) == ["SEQ020"]


def test_a_link_that_points_out_of_the_folder_is_not_followed(tmp_path: Path) -> None:
    """SQ3: A path that looks inside may lead outside."""
    outside = tmp_path / "outside.yaml"
    outside.write_text((SEQUENCES / "cells" / "sill_point.yaml").read_text())
    folder = tmp_path / "sequences"
    folder.mkdir()
    path = write_sequence(folder, "lanes: {fore: [{do: park}]}\n")
    (folder / "cells" / "sill_point.yaml").unlink()
    (folder / "cells" / "sill_point.yaml").symlink_to(outside)

    assert codes_of(path) == ["SEQ005"]


def test_a_lane_that_unfolds_without_end_is_cut(tmp_path: Path) -> None:
    """SQ11: Blocks in blocks double each time: 2 to the 20th steps from forty lines."""
    blocks = "".join(
        f"  b{n}: {{steps: [{{use: b{n + 1}}}, {{use: b{n + 1}}}]}}\n" for n in range(20)
    )
    body = f"blocks:\n{blocks}  b20: {{steps: [{{do: park}}]}}\nlanes: {{fore: [{{use: b0}}]}}\n"

    assert codes_of(write_sequence(tmp_path, body)) == ["SEQ002"]


def test_an_unknown_id_to_go_back_to_is_told_where_it_is_written(tmp_path: Path) -> None:
    """The step only names its policy: the word to mend stands in the rule."""
    body = """
policies:
  seating: {socket_not_seated: {attempts: 2, again_from: chaneg, then: hold}}
lanes:
  fore:
    - {do: change_tool, id: change, with: {tool: wrench}}
    - {do: seat_wrench, with: {bolt: 1}, policy: seating}
"""
    path = write_sequence(tmp_path, body)

    (found,) = findings_of(path)

    lines = path.read_text(encoding="utf-8").splitlines()
    step = 1 + next(at for at, line in enumerate(lines) if "policy: seating" in line)
    assert found.code == "SEQ032"
    assert lines[found.line - 1][found.column - 1 :].startswith("chaneg,")
    assert found.must.endswith(f"step of line {step}")
    assert found.do == "did you mean 'change'?"
