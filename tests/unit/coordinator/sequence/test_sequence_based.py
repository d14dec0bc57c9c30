"""Sequences on other joints: by a file based on another, by a joint given beside it, by values."""

from pathlib import Path

import pytest

from coordinator.sequence import load
from tests.support.sequence_files import SEQUENCES, codes_of, findings_of, write_sequence

LOOK = """
values: {bolt: 3}
lanes:
  fore: [{do: locate_hole, with: {bolt: $bolt}}]
  aft: [{each: own_bolt, only: [$bolt], steps: [{do: locate_hole, with: {bolt: $own_bolt}}]}]
"""


def based(folder: Path, more: str = "") -> Path:
    """Write a file based on `small.yaml`, with more keys."""
    path = folder / "again.yaml"
    path.write_text(f"sequence: again\ntext: the same again\nbased_on: small.yaml\n{more}")
    return path


def bolts(path: Path) -> list[list[object]]:
    """Return the bolts that each lane of a plan looks at."""
    plan = load(path).plan
    moves = [[plan.nodes[node].move for node in lane] for lane in plan.lanes]
    return [[dict(one.parameters)["bolt"] for one in lane if one] for lane in moves]


@pytest.mark.parametrize("count", [6, 8, 12, 16, 20])
def test_pins_bolts_and_rounds_follow_the_joint(count: int) -> None:
    """Nothing in the shipped sequence may stand for eight bolts alone."""
    loaded = load(SEQUENCES / f"makeup_{count}.yaml")
    moves = [node.move for node in loaded.plan.nodes if node.move is not None]
    holes = [dict(one.parameters)["hole"] for one in moves if one.action == "fit_pin"]
    checks = {n.record.round for n in loaded.plan.nodes if n.record and n.record.kind == "check"}

    assert loaded.joint.bolt_count == count
    assert abs(int(holes[0]) - int(holes[1])) == count // 2
    assert checks == {len(loaded.joint.rounds) + 1}
    assert loaded.plan.name == f"makeup_{count}"


def test_a_joint_given_beside_a_sequence_takes_the_place_of_its_own() -> None:
    """`--joint` tries a sequence with another joint and changes no file."""
    joint = SEQUENCES / "joints" / "pump_8in_6.yaml"

    beside = load(SEQUENCES / "makeup_8.yaml", joint=joint)
    own = load(SEQUENCES / "makeup_6.yaml")

    assert beside.plan.nodes == own.plan.nodes
    assert beside.plan.digest != own.plan.digest
    assert beside.files[-1][0] == "joints/pump_8in_6.yaml"


def test_a_file_based_on_another_takes_its_steps_and_keeps_its_own_values(tmp_path: Path) -> None:
    """The bolt to be replaced changes from job to job, the steps do not."""
    small = write_sequence(tmp_path, LOOK)

    assert bolts(small) == [[3], [], []]
    assert bolts(based(tmp_path, "values: {bolt: 6}\n")) == [[6], [6], []]


def test_a_wrong_value_is_told_where_it_was_written(tmp_path: Path) -> None:
    """The steps are right; the file with the value is wrong."""
    write_sequence(tmp_path, LOOK)

    found = findings_of(based(tmp_path, "values: {bolt: 9}\n"))

    assert {(Path(one.file).name, one.line, one.code) for one in found} == {
        ("again.yaml", 4, "SEQ017")
    }


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ("values: {blot: 6}\n", "SEQ015"),
        ("lanes: {fore: [{do: park}]}\n", "SEQ006"),
        ("joint: ../joint.yaml\n", "SEQ005"),
        ("joint: joints/none.yaml\n", "SEQ001"),
    ],
)
def test_a_file_based_on_another_may_only_change_what_it_can_change(
    tmp_path: Path, more: str, code: str
) -> None:
    """Steps in two files would be read in neither."""
    write_sequence(tmp_path, LOOK)

    assert codes_of(based(tmp_path, more)) == [code]


@pytest.mark.parametrize("base", ["none.yaml", "../small.yaml", "again.yaml"])
def test_a_base_that_is_not_there_outside_or_itself_is_told(tmp_path: Path, base: str) -> None:
    """A ring of files ends at its first turn."""
    path = based(tmp_path)
    path.write_text(path.read_text().replace("small.yaml", base))
    (tmp_path / "cells").mkdir()

    expected = {"none.yaml": "SEQ001", "../small.yaml": "SEQ005", "again.yaml": "SEQ058"}
    assert codes_of(path) == [expected[base]]


def test_a_value_that_no_lane_refers_to_is_told(tmp_path: Path) -> None:
    """It looks as if it did something."""
    assert codes_of(
        write_sequence(tmp_path, "values: {bolt: 3}\nlanes: {fore: [{do: park}]}\n")
    ) == ["SEQ044"]


@pytest.mark.parametrize(
    ("loop", "expected"),
    [
        ("each: pair, only: [7], steps: [{do: locate_hole, with: {bolt: $pair.own}}]", [[3], [7]]),
        (
            "each: own_bolt, only: [1, 8], steps: [{do: locate_hole, with: {bolt: $own_bolt}}]",
            [[1], [8]],
        ),
        ("each: round, only: [2], steps: [{do: locate_hole, with: {bolt: 1}}]", [[1], [1]]),
    ],
)
def test_a_loop_keeps_to_the_bolts_or_rounds_it_names(
    tmp_path: Path, loop: str, expected: list[list[int]]
) -> None:
    """One bolt is replaced by one side; its opposite is pulled with it."""
    body = f"lanes: {{fore: [{{{loop}}}], aft: [{{{loop}}}]}}\n"

    assert bolts(write_sequence(tmp_path, body))[:2] == expected


@pytest.mark.parametrize(("loop", "wrong"), [("pair", 9), ("own_bolt", 0)])
def test_a_loop_over_bolts_that_are_not_there_is_told(
    tmp_path: Path, loop: str, wrong: int
) -> None:
    """Else it would silently do nothing."""
    body = f"lanes: {{fore: [{{each: {loop}, only: [{wrong}], steps: [{{do: park}}]}}]}}\n"

    assert codes_of(write_sequence(tmp_path, body)) == ["SEQ017"]


@pytest.mark.parametrize(
    ("balance", "codes"),
    [
        ("$joint.balance", []),
        ("$joint.grip", ["SEQ012"]),
        ("-1 N.m", ["SEQ009"]),
        ("5 s", ["SEQ012"]),
    ],
)
def test_the_band_of_a_pair_is_a_torque_or_one_of_the_joint(
    tmp_path: Path, balance: str, codes: list[str]
) -> None:
    """The band follows the joint as the torque does."""
    pull = """
    - {do: change_tool, with: {tool: wrench}}
    - {do: react, with: {bolt: %d, on: %d}}
    - barrier: pull
    - {do: break_loose, with: {bolt: %d, torque_max: 1 kN.m}}
    - barrier: pulled
"""
    body = (
        "barriers:\n"
        f"  pull: {{timeout: 1 s, paired_until: pulled, balance: {balance}, stop: 3 s}}\n"
        "  pulled: {timeout: 1 s}\nlanes:\n  fore:" + pull % (1, 2, 1) + "  aft:" + pull % (5, 6, 5)
    )
    assert codes_of(write_sequence(tmp_path, body)) == codes


def test_what_is_wrong_in_meaning_is_told_beside_a_mistake_of_form_in_the_file_below(
    tmp_path: Path,
) -> None:
    """All at once: a key misspelt in the shared file hides nothing else, for its values as set."""
    below = LOOK + "barier: 1\n"
    write_sequence(tmp_path, below)

    assert codes_of(based(tmp_path)) == ["SEQ006"]
    told = findings_of(based(tmp_path, "values: {bolt: 99}\n"))
    assert "SEQ006" in [one.code for one in told]
    assert any("99" in one.what for one in told)
