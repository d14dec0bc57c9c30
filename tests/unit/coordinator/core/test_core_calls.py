"""P7, P8, P9: whoever acts is answered, by the core, for this very call."""

from dataclasses import replace

import pytest

from coordinator.core import decide
from coordinator.core.effects import AnswerCall
from coordinator.core.events import (
    Act,
    ModeSet,
    OperatorActed,
    OverrideEnded,
    OverrideSet,
    PersonEvent,
    PromptAnswered,
    PromptTaken,
    SignalSeen,
    StepAllowed,
)
from tests.support.core_stories import kinds_of, reach, run_until
from tests.support.core_world import CoreWorld
from tests.support.pair_plan import TRIP

S = 1_000_000


def every_act(at_us: int, call: str, expires_us: int = 0) -> list[PersonEvent]:
    """Return one of every kind of act, each act of the procedure among them."""
    acts: list[PersonEvent] = [
        *(OperatorActed(at_us, act, "Ada") for act in Act),
        PromptAnswered(at_us, 1, "again", "Ada"),
        PromptTaken(at_us, 1, "Ada"),
        ModeSet(at_us, "step", "Ada"),
        StepAllowed(at_us, -1, "Ada"),
        OverrideSet(at_us, 0, "Ada", "known", at_us + S),
        OverrideEnded(at_us, 0, "Ada"),
    ]
    return [replace(act, call=call, expires_us=expires_us) for act in acts]


def answers_to(world: CoreWorld, event: PersonEvent) -> list[AnswerCall]:
    """Return what is answered to a call where the world stands, which stays as it is."""
    _, effects = decide(world.plan, world.state, event)
    assert isinstance(effects[0], AnswerCall) == bool(event.call)
    return kinds_of(effects, AnswerCall)


@pytest.mark.parametrize("place", ["pick", "pull"])
def test_every_call_is_answered_once_and_first(place: str) -> None:
    """P7: whatever is asked, wherever the procedure stands; without a call nobody is answered."""
    world = reach(place)
    for event in every_act(world.now_us, "page-1"):
        (answer,) = answers_to(world, event)
        assert (answer.call, bool(answer.text)) == ("page-1", True)
    held = OperatorActed(world.now_us, Act.HOLD, "Ada")
    assert kinds_of(decide(world.plan, world.state, held)[1], AnswerCall) == []


def test_what_was_under_way_for_too_long_does_nothing_but_a_hold() -> None:
    """P8, P9: a pause that was pressed on a page that stood still must not act after the thaw."""
    world = reach("pull")
    for event in every_act(world.now_us + 5 * S, "page-1", expires_us=world.now_us + 1):
        state, effects = decide(world.plan, world.state, event)
        (answer,) = kinds_of(effects, AnswerCall)
        if isinstance(event, OperatorActed) and event.act is Act.HOLD:
            assert (answer.outcome, state.phase) == ("done", "holding")
        else:
            assert (answer.outcome, state) == ("late", world.state)
            assert "too late by 5.0 s, nothing was done" in answer.text


def test_a_call_that_comes_twice_is_done_once() -> None:
    """P9: a console that lost its link sends again what may have been heard."""
    world = reach("pull")
    for event in every_act(world.now_us, "page-1"):
        once, first = decide(world.plan, world.state, event)
        twice, second = decide(world.plan, once, event)
        if isinstance(event, OperatorActed) and event.act is Act.HOLD:
            continue  # A hold is never "taken already": in between somebody may have restarted.
        assert [one.outcome for one in kinds_of(second, AnswerCall)] == ["repeated"]
        assert (twice, len(second)) == (once, 1), first


def test_a_refusal_names_every_reason() -> None:
    """One after the other would be found out by pressing again."""
    world = reach("pull")
    world.feed(SignalSeen(world.now_us, TRIP, False))
    run_until(world, lambda: world.state.phase == "held")
    (answer,) = answers_to(world, OperatorActed(world.now_us, Act.RESTART, "Ada", call="page-1"))

    assert answer.outcome == "refused"
    assert "nobody_inside is latched: reset it first" in answer.text


def test_a_hold_that_comes_again_after_a_restart_holds_again() -> None:
    """P8: a console sends again what nobody has answered; all must come to rest all the same."""
    world = reach("pull")
    hold = OperatorActed(world.now_us, Act.HOLD, "Ada", call="page-1")
    world.feed(hold)
    run_until(world, lambda: world.state.phase == "held")
    world.act(Act.RESTART)
    run_until(world, lambda: world.state.phase == "running")

    effects = world.feed(replace(hold, at_us=world.now_us))

    assert kinds_of(effects, AnswerCall)[0].outcome == "done"
    assert world.state.phase == "holding"
