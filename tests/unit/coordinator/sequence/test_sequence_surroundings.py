"""What steps leave behind and move among: things put in, loads brought, zones, reactions."""

from pathlib import Path

import pytest

from coordinator.core.plan import Exhausted
from coordinator.sequence import SequenceError, load
from tests.support.altered_files import copied
from tests.support.sequence_files import SEQUENCES, codes_of, write_sequence

MET = "barriers: {met: {timeout: 1 min}}\n"
GRIPPER = "{do: change_tool, with: {tool: gripper}}"
CARRIES = (
    "exceptions: {carries: {interlock: load_overhead, reason: it carries the load},"
    " moves: {interlock: string_moving, reason: it moves the string}}\n"
)
BRING = "{do: bring_length, exceptions: [carries, moves]}"
LAND = "{do: land_length, exceptions: [carries, moves]}"
WRENCH = "{do: change_tool, with: {tool: wrench}}"
TWO_ZONES = SEQUENCES / "broken" / "parts" / "two_zones.yaml"


@pytest.mark.parametrize(
    ("body", "codes"),
    [
        # Beneath a load: before it comes, after it has landed, or with a reason.
        (f"{MET}{CARRIES}lanes: {{fore: [{{do: park}}, {{barrier: met}}],"
         f" hoist: [{{barrier: met}}, {BRING}, {LAND}]}}", []),
        (f"{MET}{CARRIES}lanes: {{fore: [{{barrier: met}}, {{do: park}}],"
         f" hoist: [{BRING}, {LAND}, {{barrier: met}}]}}", []),
        (f"{MET}{CARRIES}lanes: {{fore: [{{barrier: met}}, {{do: park}}],"
         f" hoist: [{BRING}, {{barrier: met}}, {LAND}]}}", ["SEQ071"]),
        (f"{MET}{CARRIES}lanes: {{fore: [{{do: park}}, {{barrier: met}}],"
         f" hoist: [{BRING}, {LAND}, {{barrier: met}}]}}", ["SEQ071"]),
        ("lanes: {hoist: [{do: bring_length}]}", ["SEQ071"]),
        # Reactions: for this bolt, on the next one or the one before.
        (f"lanes: {{fore: [{WRENCH}, {{do: react, with: {{bolt: 1, on: 8}}}}]}}", []),
        (f"lanes: {{fore: [{WRENCH}, {{do: react, with: {{bolt: 1, on: 1}}}}]}}", ["SEQ064"]),
    ],
)  # fmt: skip
def test_what_stands_around_a_step_is_judged_over_all_lanes(
    tmp_path: Path, body: str, codes: list[str]
) -> None:
    """Only barriers say what is done before what; the order of lines says it within a lane."""
    assert codes_of(write_sequence(tmp_path, body + "\n")) == codes


@pytest.mark.parametrize(
    ("file", "lane", "gone"),
    [
        ("makeup", "aft", "    - barrier: landed\n"),
        ("makeup", "hoist", "    - barrier: on_pins\n"),
        ("breakout", "aft", "    - barrier: set_down\n"),
        ("breakout", "fore", "    - barrier: set_down\n"),
        ("breakout", "hoist", "    - barrier: set_down\n"),
        ("breakout", "hoist", "    - barrier: bolts_out\n"),
        ("breakout", "aft", "    - barrier: bolts_out\n"),
        ("breakout", "hoist", "      exceptions: [hoist_at_work, hoist_carries]\n"),
    ],
)
def test_whatever_keeps_arms_from_a_string_that_moves_is_missed_by_a_rule(
    tmp_path: Path, file: str, lane: str, gone: str
) -> None:
    """The hoist would move the string beneath the tools, and the first clean day ended held."""
    folder = copied(tmp_path)
    path = folder / f"{file}.yaml"
    before, lanes = path.read_text(encoding="utf-8").split("\nlanes:\n")
    place = lanes.index(gone, lanes.index(f"  {lane}:\n"))
    lanes = lanes[:place] + lanes[place:].replace(gone, "", 1)
    path.write_text(f"{before}\nlanes:\n{lanes}", encoding="utf-8")

    with pytest.raises(SequenceError) as caught:
        load(folder / f"{file}_8.yaml")

    codes = {one.code for one in caught.value.diagnostics}
    assert codes & {"SEQ071", "SEQ035", "SEQ037"}, codes


@pytest.mark.parametrize(
    ("fore", "aft", "codes"),
    [
        ("look_into_bore, reach_into_bin", "reach_into_bin, look_into_bore", ["SEQ065"]),
        ("look_into_bore, reach_into_bin", "look_into_bore, reach_into_bin", []),
        ("look_into_bore, stand_clear, reach_into_bin", "reach_into_bin, look_into_bore", []),
    ],
)
def test_zones_are_entered_in_one_order_or_left_between(
    tmp_path: Path, fore: str, aft: str, codes: list[str]
) -> None:
    """Two arms that each hold what the other waits for stand until somebody comes."""
    lanes = {
        side: ", ".join(f"{{do: {name}}}" for name in names.split(", "))
        for side, names in (("fore", fore), ("aft", aft))
    }
    path = write_sequence(tmp_path, f"lanes: {{fore: [{lanes['fore']}], aft: [{lanes['aft']}]}}\n")
    cell = TWO_ZONES.read_text(encoding="utf-8") + "  stand_clear: {timeout: 60 s}\n"
    (tmp_path / "cells" / "sill_point.yaml").write_text(cell, encoding="utf-8")

    assert codes_of(path) == codes


@pytest.mark.parametrize(
    ("otherwise", "then"),
    [("hold", []), ("abort", [Exhausted.ABORT]), ("{ask: stuck}", [Exhausted.ASK])],
)
def test_what_no_policy_speaks_of_follows_otherwise(
    tmp_path: Path, otherwise: str, then: list[Exhausted]
) -> None:
    """A hold needs no rule in the plan: it is what follows a fault without one."""
    prompts = "prompts: {stuck: {text: look, caution: stay clear, options: {again: tries again}}}\n"
    body = (prompts if "ask" in otherwise else "") + f"lanes: {{fore: [{GRIPPER}]}}\n"
    path = write_sequence(tmp_path, body)
    path.write_text(path.read_text().replace("otherwise: hold", f"otherwise: {otherwise}"))

    rules = load(path).plan.nodes[0].rules

    # The two faults of changing a tool and those that the coordinator finds, a rule for each.
    own = ("tool_not_coupled", "tool_not_locked")
    found = ("refused", "silent", "timeout")
    assert sorted(rule.fault for rule in rules) == (sorted((*own, *found)) if then else [])
    assert [rule.then for rule in rules] == len(rules) * then


def test_a_prompt_asked_otherwise_must_be_one_of_the_file(tmp_path: Path) -> None:
    """A misspelt prompt is told before anything runs."""
    path = write_sequence(tmp_path, f"lanes: {{fore: [{GRIPPER}]}}\n")
    path.write_text(path.read_text().replace("otherwise: hold", "otherwise: {ask: stuk}"))

    assert codes_of(path) == ["SEQ024"]


def test_a_written_torque_above_the_limit_of_the_joint_is_told(tmp_path: Path) -> None:
    """The gasket may bear less than the bolts do."""
    body = """
barriers:
  pull: {timeout: 1 s, paired_until: pulled, balance: 1 kN.m, stop: 3 s}
  pulled: {timeout: 1 s}
lanes:
  fore:
    - {do: change_tool, with: {tool: wrench}}
    - {do: react, with: {bolt: 1, on: 2}}
    - barrier: pull
    - {do: pull, with: {bolt: 1, torque: 3.3 kN.m}}
    - barrier: pulled
  aft:
    - {do: change_tool, with: {tool: wrench}}
    - {do: react, with: {bolt: 5, on: 6}}
    - barrier: pull
    - {do: pull, with: {bolt: 5, torque: 3.1 kN.m}}
    - barrier: pulled
"""
    path = write_sequence(tmp_path, body)
    path.write_text(path.read_text().replace("begins: joint_open", "begins: joint_made_up"))
    joint = tmp_path / "joints" / "airlift_16in_8.yaml"
    text = joint.read_text(encoding="utf-8")
    joint.write_text(text.replace("  tolerance: 5 %", "  torque_max: 3.2 kN.m\n  tolerance: 5 %"))

    assert codes_of(path) == ["SEQ063"]
