"""The oracles of restarts, questions and work by hand, and the clocks of parties."""

import pytest

from coordinator.core.effects import RaisePrompt, WithdrawPrompt
from coordinator.core.events import Act, OperatorActed, PromptAnswered, TimePassed
from coordinator.wire.messages import (
    Accepted,
    Armed,
    Do,
    Faulted,
    Hold,
    Lease,
    Message,
    Ready,
    Release,
)
from tests.support.campaigns import TORQUE_NM, Court, armed_pair, running

PARTIES = ("fore", "aft", "hoist")


def node_of(court: Court, step: str) -> int:
    return [node.name for node in court.ground.plan.nodes].index(step)


def ask(court: Court, number: int, step: str) -> None:
    """Let a person be asked about a step."""
    node = node_of(court, step)
    lane = court.ground.plan.nodes[node].lane
    court.decide(
        TimePassed(court.now_us), RaisePrompt(number, 0, lane, node, "", ()), phase="running"
    )


@pytest.mark.parametrize(("holds", "broken"), [(True, []), (False, ["H5"])])
def test_a_coordinator_that_comes_back_and_has_nobody_hold_is_found(
    holds: bool, broken: list[str]
) -> None:
    """It does not know what was done while it was away."""
    court = running()
    court.pass_on("fore", Do(1, "park", "park"))
    for number, party in enumerate(PARTIES, 10):
        body = Hold("started anew", number) if holds else Lease(court.now_us)
        court.judge.said(0, "coordinator", Message("coordinator", party, number, 2, 0, body, 0))

    court.later(1)

    assert court.broken == broken


@pytest.mark.parametrize(("count", "broken"), [(3, []), (2, ["I5"])])
def test_motion_after_a_restart_before_everybody_is_ready_is_found(
    count: int, broken: list[str]
) -> None:
    """Who is not ready yet may still be at work, or gone."""
    court = running()
    court.decide(OperatorActed(0, Act.RESTART, "mate"), phase="restarting")
    for party in PARTIES[:count]:
        court.pass_on(party, Ready(1))

    court.pass_on("fore", Do(1, "park", "park"))

    assert court.broken == broken


def test_a_question_that_stays_open_over_a_hold_is_found() -> None:
    """What it was about is no more so once everybody has been stopped."""
    court = running()
    ask(court, 1, "pull bolt 1 round 1")
    court.decide(TimePassed(1), WithdrawPrompt(1, "hold"), phase="holding")
    assert court.broken == []

    court.decide(TimePassed(2), phase="running")
    ask(court, 2, "pull bolt 1 round 1")
    court.decide(TimePassed(3), phase="holding")

    assert "P2" in court.broken


def undone(torque_nm: float | None) -> int:
    """Return how many steps are left undone after a pull was done by hand with this torque."""
    court = running()
    ask(court, 1, "pull bolt 1 round 1")
    court.decide(PromptAnswered(5, 1, "by_hand", "mate", torque_nm), phase="running")
    court.decide(TimePassed(6), phase="complete")
    (left,) = (one.text for one in court.judge.found if one.code == "E2")
    return int(left.split()[2])


def test_work_by_hand_counts_with_a_torque_that_fits_alone() -> None:
    """A person's word stands for a pull only with what was measured."""
    court = running()

    assert undone(TORQUE_NM) < undone(10.0) < undone(None) == len(court.ground.steps)


def test_a_side_done_by_hand_breaks_its_span_no_more_and_the_other_must_still_end() -> None:
    """The bolts of a pair have one fate, whoever turned them."""
    court = running()
    armed_pair(court)
    court.pass_on("fore", Faulted(1, "leak"))
    ask(court, 1, "pull bolt 1 round 1")
    court.decide(PromptAnswered(5, 1, "by_hand", "mate", TORQUE_NM), phase="running")

    for number, party in ((3, "fore"), (4, "aft")):
        step = Do(number, "stand by", "stand_by", {}, "pulled (round 1, pair 1)/1")
        court.pass_on(party, step)
        court.pass_on(party, Armed(number))
    court.say("fore", Release(3, court.now_us))

    (text,) = (one.text for one in court.judge.found if one.code == "S1")
    assert "bolt 5" in text
    assert "bolt 1 " not in text


def test_a_clock_that_may_be_off_gives_as_much_slack_and_no_more() -> None:
    """Whoever reads off another clock is right by its own."""
    court = running()
    court.judge.board.slack_us = 500_000
    court.judge.board.lease_us["fore"] = 1_000_000
    court.pass_on("fore", Do(1, "stand by", "stand_by"), 1_200_000)
    court.say("fore", Accepted(1), 1_400_000)
    assert court.broken == []

    court.pass_on("fore", Do(2, "stand by", "stand_by"), 1_600_000)
    court.say("fore", Accepted(2), 1_600_000)

    assert court.broken == ["L1"]
