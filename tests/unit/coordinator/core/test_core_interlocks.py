"""Interlocks, trips and zones: who may move, and who may not."""

from coordinator.core.effects import SendDo, SendRelease
from coordinator.core.events import Act, SignalSeen
from tests.support.core_stories import command_of, kinds_of, reach, run_until, started, words_of
from tests.support.pair_plan import AFT, FORE, HOIST, INTERLOCK, TRIP


def test_signal_that_is_too_old_counts_as_unsafe() -> None:
    """I8: a sensor that says nothing says nothing good; one second is its age."""
    world = reach("pick")
    world.unanswered.clear()
    for _ in range(4):
        world.wait(250_000, beating=False)
        for party in (FORE, AFT, HOIST):
            world.see(party)
    assert world.state.phase == "running"
    world.wait(1, beating=False)
    assert world.state.phase == "holding"
    assert len(words_of(world, "signal_old")) == 2


def test_unknown_signal_holds_as_an_active_one_does() -> None:
    """I1: unknown is not good."""
    world = reach("pick")
    world.feed(SignalSeen(world.now_us, INTERLOCK, None))
    assert world.state.phase == "holding"


def test_step_with_an_exception_moves_while_its_interlock_is_active() -> None:
    """The hoist moves the load itself; the arms wait until the load is down, then all hold."""
    world = started()
    world.feed(SignalSeen(world.now_us, INTERLOCK, False))
    run_until(world, lambda: bool(world.sent[HOIST]))
    assert world.sent[HOIST][0].move.action == "lower"
    assert not world.sent[FORE]


def test_reset_moves_nothing_and_restart_names_what_is_checked_again() -> None:
    """I7, H6: clearing, resetting and restarting are three things."""
    world = reach("seat")
    world.feed(SignalSeen(world.now_us, TRIP, False))
    run_until(world, lambda: world.state.phase == "held")
    assert not kinds_of(world.feed(SignalSeen(world.now_us, TRIP, True)), SendDo)
    world.act(Act.RESTART)
    assert world.state.phase == "held"
    assert "nobody_inside is latched: reset it first" in words_of(world, "act_refused")[-1]
    reset = world.act(Act.RESET)
    assert not kinds_of(reset, SendDo) + kinds_of(reset, SendRelease)
    assert world.state.phase == "held"
    world.act(Act.RESTART)
    run_until(world, lambda: world.state.phase == "running")
    assert words_of(world, "rechecks")[-1] == "to check again: fore: locate; aft: locate"


def test_first_trip_to_act_is_the_one_that_is_named() -> None:
    """What came second is often only what the first one led to."""
    world = reach("pick")
    world.feed(SignalSeen(world.now_us, TRIP, False))
    world.feed(SignalSeen(world.now_us, INTERLOCK, False))
    assert words_of(world, "first_out") == ["nobody_inside: somebody is inside the line"]


def test_second_lane_waits_until_the_first_has_left_the_zone() -> None:
    """Z1, Z2: fore stands in the zone after picking; its park ends outside."""
    world = started()
    run_until(world, lambda: bool(world.sent[FORE]))
    run_until(world, lambda: bool(world.sent[AFT]))
    assert [one.move.action for one in world.sent[FORE]][:2] == ["pick", "park"]
    parked = world.sent[FORE][1].command
    assert world.sent[AFT][0].move.action == "pick"
    assert command_of(world, AFT) > parked
    assert world.parties[FORE].ended.get(parked) is not None
