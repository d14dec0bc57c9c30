"""H8: what is to be checked again is made before anything else, or a person is asked about it."""

from dataclasses import replace
from operator import gt

import pytest

from coordinator.core.effects import RaisePrompt
from coordinator.core.events import (
    Act,
    CommandFaulted,
    CommandFinished,
    CommandRefused,
    PromptAnswered,
    SignalSeen,
)
from coordinator.core.prompts import CHECK_OWED
from tests.support.core_stories import command_of, kinds_of, pulling, reach, run_until, words_of
from tests.support.core_world import CoreWorld
from tests.support.pair_plan import AFT, FORE, LOCATE, pair_plan


def checking() -> CoreWorld:
    """Return a world whose fore arm has been told to check again, and has not answered."""
    world = reach("pull")
    world.act(Act.HOLD)
    run_until(world, lambda: world.state.phase == "held")
    world.act(Act.RESTART)
    run_until(world, lambda: world.sent[FORE][-1].move.action == "locate")
    world.unanswered = [one for one in world.unanswered if one[0] != FORE]
    return world


def fail_check(world: CoreWorld, *, refuses: bool) -> None:
    """Let the fore arm end its check badly, or refuse it."""
    command = command_of(world, FORE)
    if refuses:
        world.feed(CommandRefused(world.now_us, FORE, command, "busy"))
    else:
        world.feed(CommandFaulted(world.now_us, FORE, command, "not_located"))


@pytest.mark.parametrize("refuses", [False, True], ids=["ends badly", "is refused"])
def test_a_check_that_fails_is_asked_about_and_stays_owed(*, refuses: bool) -> None:
    """H8: it is no failure of the step, and no answer stands for it."""
    world = checking()
    for _ in range(3):
        fail_check(world, refuses=refuses)
        run_until(world, lambda: bool(world.state.prompts))
        (opened,) = world.state.prompts
        assert (opened.prompt, opened.fault) == (CHECK_OWED, "check_owed")
        assert kinds_of(world.effects, RaisePrompt)[-1].options[0] == "again"
        assert world.state.lanes[FORE].attempts == ()
        asked = command_of(world, FORE)
        world.feed(PromptAnswered(world.now_us, opened.number, "again", "Ada"))
        run_until(world, lambda: bool(world.state.lanes[FORE].command))
        assert world.sent[FORE][-1].move.action == "locate"
        assert command_of(world, FORE) > asked
        world.unanswered = [one for one in world.unanswered if one[0] != FORE]


def test_a_check_is_owed_still_after_the_next_hold_and_told_once_made() -> None:
    """H8: neither a hold nor a restart takes it off; "checked again" is said at its good end."""
    world = checking()
    fail_check(world, refuses=True)
    run_until(world, lambda: bool(world.state.prompts))
    world.act(Act.HOLD)
    run_until(world, lambda: world.state.phase == "held")
    assert [move.action for move in world.state.lanes[FORE].owed] == ["locate"]
    told = len(words_of(world, "rechecked"))
    world.act(Act.RESTART)
    run_until(world, lambda: world.state.phase == "complete")
    assert "checked again: fore: locate" in words_of(world, "rechecked")[told:]


def test_a_check_that_fails_while_the_partner_checks_before_the_span_is_asked_about() -> None:
    """H8: the partner ended well, went back before the barrier and is inside the pair no more."""
    plan = pair_plan()
    first, *others = plan.interlocks
    plan = replace(plan, interlocks=(replace(first, rechecks=(LOCATE,)), *others))
    world = pulling(plan)
    world.feed(CommandFinished(world.now_us, AFT, command_of(world, AFT)))
    world.feed(SignalSeen(world.now_us, 0, False))
    run_until(world, lambda: world.state.phase == "held")
    world.feed(SignalSeen(world.now_us, 0, True))
    world.act(Act.RESTART)
    checks = len(world.sent[FORE]), len(world.sent[AFT])
    run_until(world, lambda: all(map(gt, map(len, world.sent[:2]), checks)))

    world.unanswered = [one for one in world.unanswered if one[0] != FORE]
    fail_check(world, refuses=False)
    run_until(world, lambda: bool(world.state.prompts) or world.state.phase == "complete")

    assert [one.fault for one in world.state.prompts] == ["check_owed"]
