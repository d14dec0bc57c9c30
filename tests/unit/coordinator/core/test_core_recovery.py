"""Recovery: as often as the rule says, then a person."""

from functools import partial

from coordinator.core.effects import RaisePrompt, SendDo
from coordinator.core.events import CommandFaulted, CommandFinished, CommandStarted, TimePassed
from tests.support.core_stories import command_of, kinds_of, reach, run_until
from tests.support.core_world import CoreWorld
from tests.support.pair_plan import AFT, FORE, HOIST, OPEN


def seating() -> CoreWorld:
    """Return a world in which both arms seat and the hoist stands by."""
    world = reach("seat")
    world.unanswered = [one for one in world.unanswered if one[0] != FORE]
    world.feed(CommandStarted(world.now_us, FORE, command_of(world, FORE), world.now_us))
    return world


def seats_again(world: CoreWorld, before: int) -> bool:
    """Whether a command later than `before` tries to seat."""
    return command_of(world, FORE) > before and world.sent[FORE][-1].move.action == "seat"


def fail_until_asked(world: CoreWorld) -> int:
    """Let every attempt to seat fail; return how many there were."""
    attempts = 0
    while not world.prompts:
        command = command_of(world, FORE)
        world.unanswered = [one for one in world.unanswered if one[0] != FORE]
        world.feed(CommandFaulted(world.now_us, FORE, command, "not_seated"))
        attempts += 1
        if not world.prompts:
            run_until(world, partial(seats_again, world, command))
    return attempts


def test_each_attempt_is_preceded_by_the_moves_of_its_rule() -> None:
    """The moves of a recovery are real and in the order in which they are written."""
    world = seating()
    world.feed(CommandFaulted(world.now_us, FORE, command_of(world, FORE), "not_seated"))
    begun = len(world.sent[FORE]) - 1
    run_until(world, lambda: world.sent[FORE][-1].move.action == "seat")
    assert [one.move.action for one in world.sent[FORE][begun:]] == ["lift", "index", "seat"]


def test_exhausted_attempts_raise_the_prompt() -> None:
    """R1: three attempts are written; the third failure asks."""
    world = seating()
    assert fail_until_asked(world) == 3
    assert kinds_of(world.effects, RaisePrompt)[0].fault == "not_seated"


def test_partner_at_its_barrier_waits_as_long_as_a_person_thinks() -> None:
    """A person's time is not the partner's fault: its barrier does not expire meanwhile."""
    world = seating()
    fail_until_asked(world)
    run_until(world, lambda: not world.unanswered)
    world.wait(400_000_000)
    assert world.state.phase == "running"
    assert world.state.meetings[OPEN].phase == "waiting"
    assert world.behave() == "complete"


def test_fault_without_a_rule_is_never_retried() -> None:
    """R2: what nobody has written down is a person's to decide."""
    world = seating()
    sent = len(world.sent[FORE])
    world.feed(CommandFaulted(world.now_us, FORE, command_of(world, FORE), "leak"))
    assert world.state.phase == "holding"
    assert len(world.sent[FORE]) == sent


def test_end_reported_at_the_instant_of_its_timeout_counts_if_it_comes_first() -> None:
    """Two events at one instant are decided in the order in which they come."""
    world = seating()
    due_us = world.state.lanes[FORE].watch.timeout_us
    command = command_of(world, FORE)
    done = world.feed(CommandFinished(due_us, FORE, command))
    world.now_us = due_us
    assert not kinds_of(done, SendDo)
    world.feed(TimePassed(due_us))
    assert "timeout" not in world.state.reason


def test_end_reported_just_after_its_timeout_is_taken_all_the_same() -> None:
    """The bolt is seated, whatever the clock says: the work is not done twice."""
    world = seating()
    for party in (AFT, HOIST):
        world.feed(CommandStarted(world.now_us, party, command_of(world, party), world.now_us))
    due_us = world.state.lanes[FORE].watch.timeout_us
    command = command_of(world, FORE)
    world.feed(TimePassed(due_us))
    world.now_us = due_us
    world.feed(CommandFinished(due_us, FORE, command))
    assert world.behave() == "complete"
    seats = [one.command for one in world.sent[FORE] if one.move.action == "seat"]
    assert len(set(seats)) == 1
