"""What a lane waits for, in words."""

from coordinator.core.events import SignalSeen
from coordinator.live.explain import explain
from tests.support.core_stories import reach
from tests.support.pair_plan import FORE, INTERLOCK, TRIP


def test_everything_that_keeps_a_lane_from_going_on_is_named() -> None:
    """LV5: who puts right the first condition alone would find the next one only then."""
    world = reach("seat", armed=False)
    plan = world.plan
    world.feed(SignalSeen(world.now_us, INTERLOCK, False))
    world.feed(SignalSeen(world.now_us, TRIP, None))
    while world.answer_one():
        pass

    words = explain(plan, world.state, world.now_us)[FORE]

    assert world.state.phase in words.waiting
    assert {plan.interlocks[one].name for one in (INTERLOCK, TRIP)} <= {
        one.removeprefix("interlock ") for one in words.unmet
    }
    assert words.waiting == "; ".join(words.unmet)
