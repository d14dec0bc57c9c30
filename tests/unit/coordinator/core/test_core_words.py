"""What is told of refusals, resets and steps is what is so, and all of it."""

from dataclasses import replace

from coordinator.core.effects import RaisePrompt
from coordinator.core.events import Act, CommandRefused, ModeSet, SignalSeen, StepAllowed
from coordinator.core.plan import Exhausted, Rule
from tests.support.core_stories import command_of, kinds_of, reach, run_until, words_of
from tests.support.core_world import CoreWorld
from tests.support.pair_plan import AFT, FORE, INTERLOCK, TRIP, pair_plan

WHY = "the wrench sits on bolt 1"


def refuse(world: CoreWorld, party: int) -> None:
    """Let a party refuse its live command, and say why."""
    world.unanswered.clear()
    world.feed(CommandRefused(world.now_us, party, command_of(world, party), "unfit", WHY))


def test_a_refusal_carries_the_arms_own_words_to_whoever_is_asked() -> None:
    """Without them nobody knows what to do about it."""
    rules = (Rule("refused", 1, then=Exhausted.ASK, prompt=0),)
    plan = pair_plan()
    nodes = (replace(one, rules=rules) if one.name == "pick" else one for one in plan.nodes)
    world = reach("pick", plan=replace(plan, nodes=tuple(nodes)))
    refuse(world, FORE)

    assert words_of(world, "fault")[-1].endswith(f"refused: unfit, {WHY}")
    raised = kinds_of(world.effects, RaisePrompt)[-1]
    assert ("arm_says", f"unfit, {WHY}") in raised.evidence


def test_a_refusal_at_a_barrier_says_why() -> None:
    """Everybody is disarmed for it: the reason stands over the whole cell."""
    world = reach("meet", armed=False)
    refuse(world, AFT)
    assert world.state.reason.endswith(f"aft refused: unfit, {WHY}")


def test_a_reset_says_what_it_has_unlatched() -> None:
    """And that nothing moves before a restart only where that is so."""
    world = reach("pick")
    world.act(Act.RESET)
    assert words_of(world, "reset")[-1] == "reset by Ada: nothing was latched"
    world.feed(SignalSeen(world.now_us, TRIP, False))
    run_until(world, lambda: world.state.phase == "held")
    world.act(Act.RESET)
    assert len(words_of(world, "reset")) == 1
    world.feed(SignalSeen(world.now_us, TRIP, True))
    world.act(Act.RESET)
    told = words_of(world, "reset")[-1]
    assert told == "Ada has reset nobody_inside; nothing moves before a restart"


def test_a_word_for_a_step_does_not_outlive_a_hold() -> None:
    """M1: given before it, it would move an arm after the restart that nobody looks at then."""
    world = reach("seat")
    world.feed(ModeSet(world.now_us, "step", "Ada"))
    world.feed(StepAllowed(world.now_us, -1, "Ada"))
    assert any(lane.allowed for lane in world.state.lanes)
    world.feed(SignalSeen(world.now_us, INTERLOCK, False))
    assert not any(lane.allowed for lane in world.state.lanes)
    world.feed(StepAllowed(world.now_us, -1, "Ada"))
    assert words_of(world, "step_refused") == ["step by Ada: nothing waits for it"]
    assert not any(lane.allowed for lane in world.state.lanes)
