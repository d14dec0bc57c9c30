"""Answers of people that the proof has shown to leave something behind."""

from coordinator.core.effects import WriteRecord
from coordinator.core.events import (
    Act,
    CommandFaulted,
    CommandFinished,
    CommandInterrupted,
    PartyHeld,
    PromptAnswered,
    SignalSeen,
)
from tests.support.core_stories import command_of, kinds_of, pulling, run_until, words_of
from tests.support.core_world import CoreWorld
from tests.support.pair_plan import AFT, CLOSE, FORE, INTERLOCK, pair_plan

PAIR = (FORE, AFT)


def fail(world: CoreWorld, party: int) -> None:
    """Let a party's live command fail."""
    world.feed(CommandFaulted(world.now_us, party, command_of(world, party), "not_reached"))


def stand(world: CoreWorld, party: int) -> None:
    """Let a party say that it stands."""
    world.feed(PartyHeld(world.now_us, party, world.hold_numbers[party][-1]))


def answer(world: CoreWorld, party: int, option: str, torque_nm: float | None = None) -> None:
    """Answer the prompt about a party."""
    (number,) = (one.number for one in world.state.prompts if one.lane == party)
    world.feed(PromptAnswered(world.now_us, number, option, "mate", torque_nm))


def test_side_that_was_to_begin_again_with_a_partner_done_by_hand_is_asked_anew() -> None:
    """Found by the proof: the core broke; and it must never pull by itself (S5)."""
    world = pulling()
    fail(world, FORE)
    fail(world, AFT)
    stand(world, AFT)
    answer(world, FORE, "again")
    answer(world, AFT, "by_hand", 1000.0)

    assert [one.lane for one in world.state.prompts] == [FORE]
    pulls = len([one for one in world.sent[FORE] if one.move.action == "pull"])
    answer(world, FORE, "by_hand", 1000.0)
    assert world.behave() == "complete"
    assert len([one for one in world.sent[FORE] if one.move.action == "pull"]) == pulls
    proofs = kinds_of(world.effects, WriteRecord)
    assert [one.outcome for one in proofs if one.outcome == "by_hand"] == ["by_hand", "by_hand"]


def test_whoever_leaves_in_order_goes_on_leaving_after_a_hold() -> None:
    """R4: found by the proof: after the restart one side went back to work while the other left."""
    world = pulling()
    fail(world, FORE)
    world.feed(CommandInterrupted(world.now_us, AFT, command_of(world, AFT)))
    stand(world, AFT)
    answer(world, FORE, "leave")
    run_until(world, lambda: world.sent[AFT][-1].move.action == "lift")
    world.unanswered.clear()
    world.feed(SignalSeen(world.now_us, INTERLOCK, False))
    for party in (FORE, AFT, 2):
        if world.sent[party] and world.state.lanes[party].command:
            world.feed(CommandInterrupted(world.now_us, party, command_of(world, party)))
        stand(world, party)
    assert world.state.phase == "held"
    at = len(world.sent[AFT])
    world.feed(SignalSeen(world.now_us, INTERLOCK, True))
    world.act(Act.RESTART)
    run_until(world, lambda: world.state.phase in ("aborting", "aborted"))
    assert [one.move.action for one in world.sent[AFT][at:]] == ["lift", "park"]


def test_side_before_a_move_of_its_own_recovery_leaves_with_its_partner() -> None:
    """S6: found by the proof: the core broke when the partner was about to recover."""
    world = pulling()
    fail(world, FORE)
    world.feed(CommandInterrupted(world.now_us, AFT, command_of(world, AFT)))
    stand(world, AFT)
    answer(world, FORE, "again")
    run_until(world, lambda: world.sent[FORE][-1].move.action == "relieve")
    world.unanswered.clear()
    fail(world, FORE)
    for party in PAIR:
        if world.state.lanes[party].rest.hold_us:
            stand(world, party)
    answer(world, FORE, "leave")
    assert world.behave() == "aborted"


def test_end_of_a_pair_that_goes_back_keeps_no_time() -> None:
    """Found by the proof: its time ran on, and told of somebody missing where nobody waits."""
    world = pulling(pair_plan())
    world.feed(CommandFinished(world.now_us, AFT, command_of(world, AFT)))
    assert world.state.meetings[CLOSE].deadline_us > 0
    fail(world, FORE)
    assert words_of(world, "span_again")
    assert world.state.meetings[CLOSE].deadline_us == 0


def test_second_answer_to_leave_lets_a_partner_that_leaves_already_go_on() -> None:
    """Found by the proof: its live move lost its meaning, and the core broke at its end."""
    world = pulling()
    fail(world, FORE)
    world.feed(CommandInterrupted(world.now_us, AFT, command_of(world, AFT)))
    stand(world, AFT)
    at = len(world.sent[AFT])
    answer(world, FORE, "leave")
    fail(world, FORE)
    world.unanswered = [one for one in world.unanswered if one[0] != FORE]
    run_until(world, lambda: world.sent[AFT][-1].move.action == "lift")
    world.unanswered.clear()
    answer(world, FORE, "leave")
    assert world.state.lanes[AFT].command
    world.feed(CommandFinished(world.now_us, AFT, command_of(world, AFT)))
    assert world.behave() == "aborted"
    assert [one.move.action for one in world.sent[AFT][at:]] == ["lift", "park"]
