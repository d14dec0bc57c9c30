"""Overrides and modes in the core: by name, with a reason, for a while, and into a hold."""

from dataclasses import replace

import pytest

from coordinator.core.decide import decide
from coordinator.core.effects import SendDo
from coordinator.core.events import (
    Act,
    ModeSet,
    OverrideEnded,
    OverrideSet,
    SignalSeen,
    StepAllowed,
)
from coordinator.core.plan import Plan
from tests.support.core_stories import kinds_of, reach, run_until, words_of
from tests.support.core_world import CoreWorld
from tests.support.pair_plan import FORE, INTERLOCK, TRIP, pair_plan

MINUTE_US = 60_000_000


def overridable() -> Plan:
    """Return the plan with an interlock that may be overridden for a minute."""
    plan = pair_plan()
    first, *others = plan.interlocks
    return replace(plan, interlocks=(replace(first, override_us=MINUTE_US), *others))


def override(world: CoreWorld, interlock: int, for_us: int, why: str = "gauge sticks") -> None:
    until_us = world.now_us + for_us
    world.feed(OverrideSet(world.now_us, interlock, "Ada", why, until_us))


def test_an_override_that_runs_out_holds_although_its_interlock_is_good() -> None:
    """O2: whoever relied on it must look again before anything goes on."""
    world = reach("seat", plan=overridable())
    override(world, INTERLOCK, 100_000)
    assert [one.who for one in world.state.overrides] == ["Ada"]
    world.wait(100_000)
    assert world.state.overrides == ()
    assert world.state.phase in ("holding", "held")
    assert world.state.reason == "override of load_overhead by Ada has run out"
    assert world.behave() == "complete"


@pytest.mark.parametrize(
    ("interlock", "for_us", "why"),
    [
        (TRIP, 1_000_000, "gauge sticks"),
        (INTERLOCK, MINUTE_US + 1, "gauge sticks"),
        (INTERLOCK, 0, "gauge sticks"),
        (INTERLOCK, 1_000_000, "  "),
    ],
)
def test_an_override_of_a_trip_too_long_or_without_a_reason_is_refused(
    interlock: int, for_us: int, why: str
) -> None:
    """O1: what the cell does not allow no person at a terminal may."""
    world = reach("seat", plan=overridable())
    override(world, interlock, for_us, why)
    assert world.state.overrides == ()
    assert words_of(world, "override_refused")


def test_an_override_given_back_while_its_interlock_is_bad_holds() -> None:
    """Nothing may go on under it."""
    world = reach("seat", plan=overridable())
    override(world, INTERLOCK, 30_000_000)
    world.feed(OverrideEnded(world.now_us, INTERLOCK, "Ada"))
    assert world.state.overrides == ()
    assert words_of(world, "override_over") == ["override of load_overhead ended by Ada"]


def test_in_step_mode_a_lane_waits_for_its_word() -> None:
    """M1: one word, one step."""
    world = CoreWorld(pair_plan())
    world.all_good()
    world.feed(ModeSet(world.now_us, "manual", "Ada"))
    world.act(Act.START)
    run_until(world, lambda: not any(lane.rest.held for lane in world.state.lanes))
    assert not kinds_of(world.effects, SendDo)
    world.feed(StepAllowed(world.now_us, -1, "Ada"))
    assert words_of(world, "step_refused") == ["step by Ada: in manual mode say which lane"]
    world.feed(StepAllowed(world.now_us, FORE, "Ada"))
    assert [one.party for one in kinds_of(world.effects, SendDo)] == [FORE]
    run_until(world, lambda: world.state.lanes[FORE].command == 0)
    assert len(kinds_of(world.effects, SendDo)) == 1


def test_a_bad_signal_under_an_override_does_not_hold() -> None:
    """That is what it is for."""
    plan = overridable()
    world = reach("seat", plan=plan)
    override(world, INTERLOCK, 30_000_000)
    # Not through the world: its judge knows no overrides.
    after, _ = decide(plan, world.state, SignalSeen(world.now_us, 0, False))
    assert after.phase == "running"
