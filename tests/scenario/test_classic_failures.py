"""The classic failures of coordinators of two machines, each by its name and each with a test."""

import asyncio
from itertools import permutations

import pytest

from coordinator.core import next_deadline_us
from coordinator.core.effects import (
    Effect,
    Notify,
    RaisePrompt,
    SendDo,
    SendHold,
    SendLease,
    SendRelease,
    WithdrawPrompt,
)
from coordinator.core.events import (
    Act,
    CommandArmed,
    CommandFaulted,
    CommandFinished,
    CommandProgressed,
    CommandRefused,
    CommandStarted,
    Event,
    OperatorActed,
    PartyHeld,
    PromptAnswered,
    Resumed,
    TimePassed,
)
from coordinator.core.state import State
from coordinator.live.coordinator import Coordinator, Observers
from coordinator.live.link import Delivered
from coordinator.live.operator import OperatorScript
from coordinator.live.runtime import Runtime
from coordinator.wire.messages import Do, Hold, Message, Refused
from coordinator.wire.topics import subscriptions_of_coordinator
from tests.support.core_stories import command_of, kinds_of, reach, reset_and_restart, run_until
from tests.support.core_world import CoreWorld
from tests.support.memory_bus import MemoryBus
from tests.support.nodes import clock_us
from tests.support.pair_plan import AFT, FORE, HOIST
from tests.support.parties import SECOND_US, Driver
from tests.support.small_plan import small_plan


@pytest.mark.parametrize("order", list(permutations((FORE, AFT, HOIST))))
def test_a_join_never_opens_on_the_last_listed_side_alone(order: tuple[int, ...]) -> None:
    """A join that looks at the side listed last opens when that one comes, whoever is missing."""
    world = reach("meet", armed=False)

    for place, party in enumerate(order):
        armed = CommandArmed(world.now_us, party, command_of(world, party))
        releases = kinds_of(world.feed(armed), SendRelease)
        assert len(releases) == (3 if place == 2 else 0)


@pytest.mark.parametrize(("starts", "misses"), [(FORE, AFT), (AFT, FORE)])
def test_when_one_of_two_starts_the_other_is_stopped_and_both_start_over(
    starts: int, misses: int
) -> None:
    """A release that reaches one side only would be a lone pull on the whole joint."""
    world = reach("pull")
    world.unanswered.clear()
    start_us = kinds_of(world.effects, SendRelease)[-1].start_us
    alone, missed = command_of(world, starts), command_of(world, misses)
    world.feed(CommandStarted(world.now_us, starts, alone, start_us))

    effects = world.feed(CommandRefused(world.now_us, misses, missed, "expired"))
    run_until(world, lambda: bool(_holds(world.effects, starts)) and not world.unanswered)

    assert _holds((*effects, *world.effects), starts)
    assert world.behave() == "complete"
    pulls = [[one.command for one in world.sent[i] if _is(one, "pull")] for i in (FORE, AFT)]
    assert len(pulls[0]) == len(pulls[1]) >= 2


def test_an_abort_is_not_lost_when_telling_about_it_fails() -> None:
    """A page or a record store that throws must not come between an abort and the arms."""

    def throw(event: Event, effects: tuple[Effect, ...], state: State) -> None:
        if state.phase == "aborting":
            raise RuntimeError("the page is gone")

    bus, plan = MemoryBus(), small_plan()
    coordinator = Coordinator(plan, origin_us=clock_us(), observers=Observers(listeners=(throw,)))
    link = bus.link("cell", subscriptions_of_coordinator("cell"))
    witness = bus.link("cell", ("bothsides/cell/+/command",))
    runtime = Runtime(coordinator, link, clock_us, script=OperatorScript(plan), interactive=True)

    async def abort() -> list[Message]:
        await witness.open()
        runtime.submit(OperatorActed(0, Act.ABORT, "Ada"))
        with pytest.raises(RuntimeError, match="the page is gone"):
            await runtime.run()
        return [one.message for one in await witness.wait_delivered() if isinstance(one, Delivered)]

    heard = asyncio.run(abort())
    assert {one.subject for one in heard if isinstance(one.body, Hold)} == {"fore", "aft"}


@pytest.mark.parametrize("is_done_first", [True, False])
def test_timeout_and_done_in_one_instant_give_one_outcome(is_done_first: bool) -> None:
    """The step is done, or it has timed out and is found done: never both, never twice."""
    world = reach("seat")
    world.unanswered = [one for one in world.unanswered if one[0] != FORE]
    command = command_of(world, FORE)
    world.feed(CommandStarted(world.now_us, FORE, command, world.now_us))
    due_us = world.state.lanes[FORE].watch.timeout_us
    events: list[Event] = [CommandFinished(due_us, FORE, command), TimePassed(due_us)]
    for party in (AFT, HOIST):
        live = command_of(world, party)
        world.feed(CommandProgressed(world.now_us, party, live))

    for event in events if is_done_first else reversed(events):
        world.feed(event)
    world.now_us = due_us

    assert world.behave() == "complete"
    assert len([one for one in world.sent[FORE] if _is(one, "seat")]) == 1


def test_timers_live_on_after_a_restore() -> None:
    """A restored run that waits for a moment nobody calls would wait for ever."""
    world = reach("seat")
    world.unanswered.clear()

    world.feed(Resumed(world.now_us))
    assert next_deadline_us(world.plan, world.state) is not None
    before = len(world.effects)
    world.wait(2 * world.plan.timing.hold_us, beating=False)

    later = world.effects[before:]
    assert any(isinstance(one, Notify) and one.kind == "hold_unconfirmed" for one in later)
    assert {one.party for one in later if isinstance(one, SendHold)} == {FORE, AFT, HOIST}
    assert any(isinstance(one, SendLease) for one in later)


def test_a_stale_retained_command_is_refused_and_moves_nothing() -> None:
    """A broker that hands out yesterday's command to an arm that has just connected."""
    driver = Driver()
    driver.wake_up()

    answers = driver.say(Do(5, "step", "move", {}, None), retained=True)
    driver.pass_time(20 * SECOND_US)

    assert [one.reason for one in answers if isinstance(one, Refused)] == ["retained"]
    assert driver.bench.moved == 0


def test_a_retry_does_not_start_while_the_old_attempt_is_alive() -> None:
    """Two commands at work on one bolt: the old one is held, and stands, before the next leaves."""
    world = reach("pull")
    world.unanswered.clear()
    start_us = kinds_of(world.effects, SendRelease)[-1].start_us
    for party in (FORE, AFT):
        world.feed(CommandStarted(world.now_us, party, command_of(world, party), start_us))
    old = command_of(world, AFT)
    world.feed(CommandFaulted(world.now_us, FORE, command_of(world, FORE), "not_reached"))
    world.unanswered = [one for one in world.unanswered if one[0] != AFT]
    (hold,) = _holds(world.effects, AFT)[-1:]
    world.wait(300_000)

    assert command_of(world, AFT) == old
    world.feed(PartyHeld(world.now_us, AFT, hold.number))
    run_until(world, lambda: _is(world.sent[AFT][-1], "pull") and command_of(world, AFT) > old)


def test_a_prompt_without_an_answer_is_logged_as_that_and_never_as_a_refusal() -> None:
    """Nobody said no: whoever reads the record must not find a person's decision."""
    world = _asked()
    number = min(world.prompts)

    effects = world.act(Act.HOLD)
    withdrawn = kinds_of(effects, WithdrawPrompt)
    late = world.feed(PromptAnswered(world.now_us, number, "abort", "Ada"))

    assert [one.number for one in withdrawn] == [number]
    assert not any(isinstance(one, PromptAnswered) for one in world.events[:-1])
    assert [one.kind for one in late if isinstance(one, Notify)] == ["answer_late"]
    assert world.state.phase == "holding"


def test_a_restart_does_not_start_the_next_cycle_of_the_side_that_had_finished() -> None:
    """One side had pulled, the other had not: going on alone would leave the joint tilted."""
    world = reach("pull")
    world.unanswered.clear()
    start_us = kinds_of(world.effects, SendRelease)[-1].start_us
    for party in (FORE, AFT):
        world.feed(CommandStarted(world.now_us, party, command_of(world, party), start_us))
    world.feed(CommandFinished(world.now_us, FORE, command_of(world, FORE)))
    world.act(Act.HOLD)
    run_until(world, lambda: world.state.phase == "held")
    sent = len(world.sent[FORE])

    reset_and_restart(world)
    run_until(world, lambda: any(_is(one, "pull") for one in world.sent[FORE][sent:]))

    done = [one.move.action for one in world.sent[FORE][sent:]]
    assert "lift" not in done
    assert any(_is(one, "pull") for one in world.sent[AFT][-1:])
    assert world.behave() == "complete"


def _asked() -> CoreWorld:
    """Return a world that asks a person after the last attempt to seat."""
    world = reach("seat")
    while not kinds_of(world.effects, RaisePrompt):
        command = command_of(world, FORE)
        world.unanswered = [one for one in world.unanswered if one[0] != FORE]
        world.feed(CommandFaulted(world.now_us, FORE, command, "not_seated"))
        if not world.prompts:
            run_until(
                world,
                lambda before=command: (  # type: ignore[misc]  # bound as it is now
                    command_of(world, FORE) > before and _is(world.sent[FORE][-1], "seat")
                ),
            )
    return world


def _holds(effects: tuple[Effect, ...] | list[Effect], party: int) -> list[SendHold]:
    return [one for one in effects if isinstance(one, SendHold) and one.party == party]


def _is(command: SendDo, action: str) -> bool:
    return command.move.action == action
