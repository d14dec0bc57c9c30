"""What each answer to a prompt does, over the whole make-up, judged from messages and records."""

import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from coordinator.cli.dryrun import record_rows
from coordinator.records.acceptance import open_points, wanted_proofs
from coordinator.rehearse.rehearsal import Rehearsal, rehearse
from coordinator.rehearse.simulated import BOLT_CATALOGUE
from coordinator.sequence import Loaded, load, read_case
from tests.support.sequence_files import SEQUENCES

PAIR_ONE = "confirm torque bolt 1 round 3"
MISPLACED = "{cause: bolt_misplaced, bolt: 6, off_x: 3 mm, times: 3}"
Delivery = dict[str, Any]


@cache
def supply() -> str:
    """Return a cause that lets aft's supply sink while the second pair is pulled in round 3."""
    loaded = load(SEQUENCES / "makeup_8.yaml")
    proofs = rehearse(loaded).proofs
    names = [loaded.plan.nodes[one.effect.node].name for one in proofs]
    at_us = proofs[names.index(PAIR_ONE)].at_us + 1_000_000
    return f"{{cause: supply_low, side: aft, pressure: 2 MPa, at: {at_us} us, for: 45 s}}"


def go(
    tmp_path: Path, cause: str, *answers: tuple[str, str]
) -> tuple[Loaded, Rehearsal, list[Delivery]]:
    """Rehearse the make-up with a cause and these answers, as (prompt, rest of the entry)."""
    entries = "".join(
        f"  - {{prompt: {name}, by: mate, answer: {rest}}}\n" for name, rest in answers
    )
    path = tmp_path / "case.yaml"
    said = f"answers:\n{entries}" if entries else ""
    path.write_text(f"case: answers\ncauses:\n  - {cause}\n{said}", encoding="utf-8")
    loaded = load(SEQUENCES / "makeup_8.yaml")
    lines: list[str] = []
    case = read_case(path, BOLT_CATALOGUE)
    result = rehearse(loaded, case=case, write_line=lines.append)
    return loaded, result, [json.loads(one) for one in lines if '"org.bothsides.do"' in one]


def pulls_of(deliveries: list[Delivery], bolt: int, action: str = "pull") -> list[str]:
    """Return the steps in which a bolt was pulled, in order."""
    return [
        one["data"]["step"]
        for one in deliveries
        if one["data"]["action"] == action and one["data"]["parameters"]["bolt"] == bolt
    ]


def accepted(loaded: Loaded, result: Rehearsal) -> list[str]:
    return open_points(record_rows(loaded, result), wanted_proofs(loaded.plan))


def test_a_bolt_done_by_hand_is_recorded_so_and_its_opposite_is_not_pulled_alone(
    tmp_path: Path,
) -> None:
    """The record says who and to what torque; the arms never pull the other bolt by itself."""
    answer = ("torque_trouble", "by_hand, torque: 3100 N.m")

    loaded, result, deliveries = go(tmp_path, supply(), answer, answer)

    assert (result.phase, accepted(loaded, result)) == ("complete", [])
    by_hand = [one.effect for one in result.proofs if one.effect.outcome == "by_hand"]
    nodes = [loaded.plan.nodes[one.node].name for one in by_hand]
    assert nodes == [
        "pull bolt 7 round 3",
        "confirm torque bolt 7 round 3",
        "pull bolt 3 round 3",
        "confirm torque bolt 3 round 3",
    ]
    assert {(one.who, one.results) for one in by_hand} == {("mate", (("torque_nm", 3100.0),))}
    assert len(pulls_of(deliveries, 3)) == len(pulls_of(deliveries, 7))
    assert pulls_of(deliveries, 3, "confirm_torque")[-1] == "confirm torque bolt 3 round 2"


@pytest.mark.parametrize("said", ["by_hand", "by_hand, torque: 2000 N.m"])
def test_work_by_hand_without_a_torque_inside_the_window_is_not_taken(
    tmp_path: Path, said: str
) -> None:
    """P5: nobody's word stands for a torque that was not measured, or is not enough."""
    _, result, _ = go(tmp_path, supply(), ("torque_trouble", said))

    refused = [one.text for _, one in result.notices if one.kind == "answer_unknown"]
    assert len(refused) == 1
    assert "check torque" in refused[0]
    assert not [one for one in result.proofs if one.effect.outcome == "by_hand"]


def test_a_new_bolt_is_pulled_with_its_opposite_from_the_first_round(tmp_path: Path) -> None:
    """What was proved about the old bolt counts no more."""
    loaded, result, deliveries = go(tmp_path, supply(), ("torque_trouble", "replace_bolt"))

    assert (result.phase, accepted(loaded, result)) == ("complete", [])
    for bolt in (3, 7):
        rounds = [step[-1] for step in pulls_of(deliveries, bolt)]
        assert rounds[:3] == ["1", "2", "3"]
        assert rounds[-3:] == ["1", "2", "3"]
    assert [step[-1] for step in pulls_of(deliveries, 1)] == ["1", "2", "3"]
    void = [one.effect for one in result.proofs if one.effect.outcome == "replaced"]
    assert len(void) == 2 * 2 * 2  # Two bolts, pull and confirm, of rounds 1 and 2.


def test_back_a_round_pulls_every_pair_again_from_the_round_before(tmp_path: Path) -> None:
    """Both sides go back together, over the same barriers."""
    loaded, result, deliveries = go(tmp_path, supply(), ("torque_trouble", "back_a_round"))

    assert (result.phase, accepted(loaded, result)) == ("complete", [])
    for bolt in (1, 2, 3, 4, 5, 6, 7, 8):
        rounds = [step[-1] for step in pulls_of(deliveries, bolt)]
        assert rounds[-2:] == ["2", "3"]
        assert rounds.count("1") == 1
        assert rounds.count("2") == 2


def test_to_leave_takes_both_tools_off_before_the_procedure_aborts(tmp_path: Path) -> None:
    """An abort where it stands would leave two wrenches on the joint."""
    _, result, deliveries = go(tmp_path, supply(), ("torque_trouble", "leave"))

    assert result.phase == "aborted"
    last = [(one["subject"], one["data"]["action"]) for one in deliveries[-4:]]
    assert sorted(last) == [
        ("aft", "lift_wrench"),
        ("aft", "park"),
        ("fore", "lift_wrench"),
        ("fore", "park"),
    ]


def test_to_back_off_makes_the_recovery_and_asks_again(tmp_path: Path) -> None:
    """A person wants to see the thread before the next try; the moves are not made twice."""
    trouble = "thread_trouble"
    loaded, result, deliveries = go(tmp_path, MISPLACED, (trouble, "back_off"), (trouble, "again"))

    assert (result.phase, accepted(loaded, result)) == ("complete", [])
    prompts = [one.text for _, one in result.notices if one.kind == "prompt"]
    assert len(prompts) == 2
    assert "back_off" in prompts[0]
    assert "back_off" not in prompts[1]
    moves = [one for one in deliveries if one["data"]["action"] == "back_off"]
    assert len(moves) == 3  # Two by itself, one as a person said.


def test_a_prompt_without_an_answer_is_logged_as_such(tmp_path: Path) -> None:
    """Section 6.9: silence is never a person's answer."""
    _, result, _ = go(tmp_path, supply())

    assert result.phase == "held"
    assert [one.text for _, one in result.notices if one.kind == "unanswered"]
    assert not [one for _, one in result.notices if one.kind == "answered"]
