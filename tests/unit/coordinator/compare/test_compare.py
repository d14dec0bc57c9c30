"""What changed between two files: what means the same, both ends, orders, cells and joints."""

from dataclasses import fields
from itertools import pairwise
from pathlib import Path

import pytest

from coordinator.compare import compare_cells, compare_joints, compare_sequences
from coordinator.core.plan import Barrier, Interlock, Move, Node, Party, Plan, Prompt, Rule, Span
from coordinator.sequence import load, read_cell, read_joint
from tests.support.altered_files import CELL, JOINT, altered
from tests.support.sequence_files import SEQUENCES, write_sequence

HEAD = """sequence: small
text: one paired pull on a joint that is made up
cell: cells/sill_point.yaml
joint: joints/airlift_16in_8.yaml
begins: joint_made_up
otherwise: hold
"""
SHORT = """
barriers:
  pull: {timeout: 5 min, window: 50 ms, paired_until: pulled, balance: 600 N.m, stop: 3 s}
  pulled: {timeout: 5 min}
values: {far: 2.9 kN.m}
blocks:
  pull_bolt:
    takes: [bolt, neighbour, torque]
    steps:
      - do: change_tool
        with: {tool: wrench}
      - do: seat_wrench
        with: {bolt: $bolt}
      - do: react
        with: {bolt: $bolt, on: $neighbour}
      - barrier: pull
      - do: pull
        with: {bolt: $bolt, torque: $torque}
        round: 3
      - barrier: pulled
lanes:
  fore:
    - use: pull_bolt
      with: {bolt: 1, neighbour: 2, torque: 2.9 kN.m}
  aft:
    - use: pull_bolt
      with: {bolt: 5, neighbour: 6, torque: $far}
"""


def texts_of(tmp_path: Path, old: str, new: str) -> list[str]:
    """Return what changes where `new` stands for `old` in the short sequence."""
    assert old in SHORT
    was = load(write_sequence(tmp_path, SHORT, head=HEAD))
    now = load(write_sequence(tmp_path, SHORT.replace(old, new), head=HEAD))
    return [change.text for change in compare_sequences(was, now)]


def test_another_torque_of_one_bolt_is_told_as_an_engineer_would_say_it(tmp_path: Path) -> None:
    """The sentence of the requirement, word by word."""
    told = texts_of(tmp_path, "far: 2.9 kN.m", "far: 3.1 kN.m")

    assert told == ["bolt 5 is now pulled to 3.1 kN·m in round 3, was 2.9 kN·m"]


def test_a_difference_in_the_fifth_figure_is_still_seen(tmp_path: Path) -> None:
    """`is now 2.9, was 2.9` would be worse than nothing."""
    told = texts_of(tmp_path, "far: 2.9 kN.m", "far: 2.90001 kN.m")

    assert told == ["bolt 5 is now pulled to 2.90001 kN·m in round 3, was 2.9 kN·m"]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("far: 2.9 kN.m", "far: 2900 N.m"),
        ("timeout: 5 min, window: 50 ms", "window: 0.05 s, timeout: 300 s"),
        ("torque: 2.9 kN.m}", "torque: $far}"),
        ("      - do: react\n", "      # a remark\n\n      - do: react\n"),
        (
            "with: {bolt: $bolt, on: $neighbour}",
            "with:\n          on: $neighbour\n          bolt: $bolt",
        ),
        ("  pulled: {timeout: 5 min}\n", "  pulled: {timeout: 5 min, text: both have pulled}\n"),
        ("  pull_bolt:\n", "  pull_bolt:\n    text: pulls one bolt\n"),
    ],
)
def test_what_means_the_same_is_the_same(tmp_path: Path, old: str, new: str) -> None:
    """CP1: Units, order of keys, remarks, values and descriptions change nothing that is done."""
    assert texts_of(tmp_path, old, new) == []


def test_what_is_to_be_proved_is_compared_by_what_it_promises(tmp_path: Path) -> None:
    """A property that is weakened or taken out promises less, which must not pass unseen."""
    promised = (
        "lanes:\n",
        "properties:\n  few: {text: few, at_most: {times: 2, of: {begins: pull}}}\n",
    )
    was = SHORT.replace(promised[0], promised[1] + promised[0])
    now = was.replace("times: 2", "times: 3").replace("text: few", "text: quite few")
    loaded = [load(write_sequence(tmp_path, text, head=HEAD)) for text in (SHORT, was, now, SHORT)]

    told = [
        change.text
        for before, after in pairwise(loaded)
        for change in compare_sequences(before, after)
    ]

    assert told == [
        "property few is new: somebody begins pull 2 times at most",
        "property few is now: somebody begins pull 3 times at most;"
        " was: somebody begins pull 2 times at most",
        "there is no property few any more",
    ]


def test_what_is_there_in_one_file_only_is_told_from_both_ends(tmp_path: Path) -> None:
    """A barrier, a point and a side's tool that came are, the other way round, gone."""
    more = SHORT.replace(
        "values:", "points: {seen: {kind: hold, who: the mate, text: look}}\nvalues:"
    ).replace(
        "  pulled: {timeout: 5 min}\n", "  pulled: {timeout: 5 min}\n  end: {timeout: 1 min}\n"
    )
    more = more.replace(
        "torque: 2.9 kN.m}\n", "torque: 2.9 kN.m}\n    - point: seen\n    - barrier: end\n"
    )
    more += "    - barrier: end\n"
    was = load(write_sequence(tmp_path, SHORT, head=HEAD))
    now = load(write_sequence(tmp_path, more, head=HEAD))

    there = [change.text for change in compare_sequences(was, now)]
    back = [change.text for change in compare_sequences(now, was)]

    assert there == [
        "barrier end is new: fore and aft meet there and wait 1 min at most",
        "fore now also stops at point seen, after barrier pulled",
        "fore now also meets at barrier end, after point seen",
        "aft now also meets at barrier end, after barrier pulled",
        "point seen is new",
    ]
    assert back == [
        "there is no barrier end any more",
        "fore no longer stops at point seen, was after barrier pulled",
        "fore no longer meets at barrier end, was after point seen",
        "aft no longer meets at barrier end, was after barrier pulled",
        "there is no point seen any more",
    ]


def test_another_kind_of_point_is_told(tmp_path: Path) -> None:
    """A hold point that became a witness point no longer stops anybody."""
    point = "points: {seen: {kind: hold, who: the mate, text: look}}\nvalues:"
    body = SHORT.replace("values:", point).replace(
        "lanes:\n  fore:\n", "lanes:\n  fore:\n    - point: seen\n"
    )
    was = load(write_sequence(tmp_path, body, head=HEAD))
    now = load(
        write_sequence(
            tmp_path,
            body.replace("kind: hold, who: the mate", "kind: witness, who: a guest"),
            head=HEAD,
        )
    )

    told = [change.text for change in compare_sequences(was, now)]

    assert told == [
        "point seen is now for a guest, was for the mate",
        "point seen is now a witness point, was a hold point",
    ]


def test_another_order_of_bolts_is_told_once_for_each_side(tmp_path: Path) -> None:
    """The loop keeps to bolts in the joint's order, so the order is written out here."""
    fit = "".join(
        f"    - {{{{do: {do}, with: {{{{bolt: {{0}}}}}}}}}}\n"
        for do in ("locate_hole", "locate_bolt")
    )
    orders = {"fore": ((1, 2, 3), (3, 1, 2)), "aft": ((5, 6), (5, 6))}
    bodies = [
        "lanes:\n"
        + "".join(
            f"  {side}:\n" + "".join(fit.format(bolt) for bolt in both[number])
            for side, both in orders.items()
        )
        for number in (0, 1)
    ]
    was, now = (load(write_sequence(tmp_path, body, head=HEAD)) for body in bodies)

    told = [change.text for change in compare_sequences(was, now)]

    assert told == [
        "fore now goes over its bolts in the order 3, 1, 2, was 1, 2, 3"
        " (locate hole and locate bolt)"
    ]


def test_a_joint_of_more_bolts_is_not_told_bolt_by_bolt() -> None:
    """Forty sentences about bolts that follow from one figure would hide the others."""
    told = [
        change.text
        for change in compare_sequences(
            load(SEQUENCES / "breakout_8.yaml"), load(SEQUENCES / "breakout_12.yaml")
        )
    ]

    assert "the joint now has 12 bolts, was 8" in told
    assert "aft now works on bolts 7 to 12, was on bolts 5 to 8" in told
    assert not [text for text in told if "also" in text or "no longer" in text]
    assert len(told) < 25


def test_cells_and_joints_are_compared_by_themselves(tmp_path: Path) -> None:
    """A new tool or a new joint is looked at before any sequence names it."""
    target = altered(tmp_path, CELL, "hoist: hoist ", "hoist: crane ")
    path = target / JOINT
    path.write_text(path.read_text().replace("friction: 0.07", "friction: 0.12"))

    cells = compare_cells(read_cell(SEQUENCES / CELL), read_cell(target / CELL))
    joints = compare_joints(read_joint(SEQUENCES / JOINT), read_joint(path))

    assert [one.text for one in cells] == ["the lane of the hoist operator is now crane, was hoist"]
    assert joints[0].text == "friction is now reckoned at 0.12, was 0.07"
    assert compare_cells(read_cell(SEQUENCES / CELL), read_cell(SEQUENCES / CELL)) == ()
    assert compare_joints(read_joint(path), read_joint(path)) == ()


def test_sides_that_changed_places_are_told(tmp_path: Path) -> None:
    """The first side takes the first half of the bolts: the order of the sides means something."""
    target = altered(tmp_path, CELL, "  fore:\n", "  port:\n")
    renamed = compare_cells(read_cell(SEQUENCES / CELL), read_cell(target / CELL))
    text = (SEQUENCES / CELL).read_text(encoding="utf-8")
    first, second = text.index("  fore:\n"), text.index("  aft:\n")
    end = text.index("\nhoist: hoist")
    swapped = text[:first] + text[second:end] + text[first:second] + text[end:]
    (target / CELL).write_text(swapped, encoding="utf-8")
    turned = compare_cells(read_cell(SEQUENCES / CELL), read_cell(target / CELL))

    assert [one.text for one in renamed] == [
        "the sides are now called port and aft, was fore and aft"
    ]
    assert [one.text for one in turned] == [
        "the sides have changed places: the first is now aft, was fore"
    ]


def test_every_field_of_a_plan_is_one_that_is_compared() -> None:
    """CP1: A field that is added to the plan must be compared too, or `the same` becomes a lie.

    Not to be compared are caps, which are of a run and not of its files, loops, which stand in
    the names of the steps as well, and what the plan works out of its own fields; `is_check` says
    where a move stands, among re-checks, which are compared.
    """
    known = {
        Plan: "name parties nodes lanes barriers spans interlocks signals zones prompts timing"
        " caps digest",
        Party: "name is_arm",
        Node: "name lane kind after barrier move rules windows exceptions permissives rechecks"
        " leave loops span record prompt is_witness origin",
        Move: "action parameters timeout_us no_progress_us on_hold zone is_check",
        Rule: "fault attempts recover again_from then prompt",
        Barrier: "name lanes nodes next_nodes timeout_us window_us span",
        Span: "name opens closes lanes nodes balance_nm stop_us",
        Interlock: "name signal kind cause consequence operator_action override_us rechecks",
        Prompt: "name text caution options who",
    }

    for one, names in known.items():
        assert [field.name for field in fields(one) if field.init] == names.split()
