"""Holds: everybody comes to rest, the core knows it, and nothing leaves meanwhile."""

from coordinator.core.effects import SendAsk, SendDo, SendHold, SendRelease
from coordinator.core.events import (
    Act,
    CommandArmed,
    CommandFaulted,
    CommandFinished,
    CommandInterrupted,
    CommandRefused,
    CommandStarted,
    PartyHeld,
    PartySeen,
)
from tests.support.core_stories import command_of, holds_of, kinds_of, reach, run_until
from tests.support.pair_plan import AFT, FORE, HOIST


def test_answer_to_an_older_hold_does_not_count() -> None:
    """H1: who answered the first hold may have moved since; only the latest number counts."""
    world = reach("pick")
    world.act(Act.HOLD)
    older = world.hold_numbers[FORE][-1]
    world.act(Act.STOP)
    for party in (FORE, AFT, HOIST):
        world.feed(PartyHeld(world.now_us, party, older))
    assert world.state.phase == "stopping"
    for party in (FORE, AFT, HOIST):
        world.feed(CommandInterrupted(world.now_us, party, world.state.lanes[party].command))
        world.feed(PartyHeld(world.now_us, party, world.hold_numbers[party][-1]))
    assert world.state.phase == "stopped"


def test_everybody_armed_after_a_hold_passes_nothing() -> None:
    """A hold outruns the last confirmation: nobody is released into it."""
    world = reach("meet", armed=False)
    world.act(Act.HOLD)
    effects = [
        effect
        for party in (FORE, AFT, HOIST)
        for effect in world.feed(CommandArmed(world.now_us, party, command_of(world, party)))
    ]
    assert not kinds_of(effects, SendRelease)
    assert world.behave() == "complete"


def test_command_that_never_arrived_is_not_sent_again_into_a_hold() -> None:
    """No command leaves after the order to hold, not even a repeated one."""
    world = reach("pick")
    world.act(Act.HOLD)
    command = command_of(world, FORE)
    effects = world.feed(CommandRefused(world.now_us, FORE, command, "unknown"))
    assert not kinds_of(effects, SendDo)
    assert world.behave() == "complete"


def test_silent_party_is_told_again_to_hold_until_it_says_so() -> None:
    """An unconfirmed hold is an alarm that does not go away by itself."""
    world = reach("pick")
    world.act(Act.HOLD)
    world.unanswered.clear()
    world.wait(3_000_000)
    assert world.state.phase == "holding"
    assert len(holds_of(world, HOIST)) == 2


def test_party_that_started_anew_is_asked_for_its_ledger_before_it_is_held() -> None:
    """Its own record settles what became of the command; a hold would cut that short."""
    world = reach("pick")
    command = command_of(world, FORE)
    effects = world.feed(PartySeen(world.now_us, FORE, 2, 0))
    ordered = [e for e in effects if isinstance(e, SendAsk | SendHold) and e.party == FORE]
    assert isinstance(ordered[0], SendAsk)
    assert ordered[0].command == command
    assert isinstance(ordered[1], SendHold)


def test_standing_by_cut_off_by_a_hold_does_not_wait_at_a_barrier_that_is_passed() -> None:
    """A hoist held while it stands by has passed with the others; it goes on with its lane."""
    world = reach("seat")
    assert world.sent[HOIST][-1].move.action == "stand_by"
    world.act(Act.HOLD)
    for party in (FORE, AFT, HOIST):
        world.feed(PartyHeld(world.now_us, party, world.hold_numbers[party][-1]))
    assert world.behave() == "complete"


def test_fault_reported_on_the_way_to_rest_keeps_its_recovery() -> None:
    """The fault of a step that was told to hold for a timeout is still the one recovered from."""
    world = reach("seat")
    world.unanswered.clear()
    for party in (FORE, AFT, HOIST):
        world.feed(CommandStarted(world.now_us, party, command_of(world, party), 0))
    run_until(world, lambda: len(holds_of(world, FORE)) > 0, busy=(FORE, AFT, HOIST))
    command = command_of(world, FORE)
    world.feed(CommandFaulted(world.now_us, FORE, command, "not_seated"))
    world.feed(PartyHeld(world.now_us, FORE, world.hold_numbers[FORE][-1]))
    assert [move.action for move in world.state.lanes[FORE].queue] == ["lift", "index"]
    assert world.state.lanes[FORE].at.fault == "not_seated"


def test_a_report_lost_before_a_hold_is_asked_for_and_not_guessed() -> None:
    """A party that stands without having said how its command ended may well have finished it."""
    world = reach("pick")
    command = world.state.lanes[FORE].command
    world.act(Act.HOLD)
    effects = world.feed(PartyHeld(world.now_us, FORE, world.hold_numbers[FORE][-1]))

    asked = [one for one in effects if isinstance(one, SendAsk)]
    assert [(one.party, one.command) for one in asked] == [(FORE, command)]
    world.feed(CommandFinished(world.now_us, FORE, command))
    world.feed(PartyHeld(world.now_us, FORE, world.hold_numbers[FORE][-1]))
    assert world.state.lanes[FORE].rest.held
    assert world.state.lanes[FORE].at.fault == ""
    assert world.state.lanes[FORE].done != 0
