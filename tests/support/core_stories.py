"""Lead a bare core to the place in a sequence where a story begins."""

from collections.abc import Callable, Sequence
from typing import TypeVar

from coordinator.core.effects import Effect, Notify, SendHold
from coordinator.core.events import Act, CommandProgressed, CommandStarted, OperatorActed
from coordinator.core.plan import Plan
from tests.support.core_world import CoreWorld
from tests.support.pair_plan import AFT, FORE, asking_plan, pair_plan

TURNS_MAX = 500
Kind = TypeVar("Kind")


def started(plan: Plan | None = None) -> CoreWorld:
    """Return a world, of the pair plan unless told otherwise, that a person has just started."""
    world = CoreWorld(plan or pair_plan())
    world.all_good()
    world.act(Act.START)
    return world


def reach(name: str, *, armed: bool = True, plan: Plan | None = None) -> CoreWorld:
    """Run until the fore arm has been told to do a step, or to arm at a barrier.

    Args:
        name: Of the step, or of the barrier.
        armed: At a barrier's step, whether it is released too.
        plan: Instead of the pair plan.
    """
    world = started(plan)
    for _ in range(TURNS_MAX):
        if _is_reached(world, name):
            break
        assert world.answer_one() or world.now_us < 60_000_000
    else:
        raise AssertionError(f"{name} is not reached")
    if armed and world.sent[0][-1].barrier >= 0:
        at_barrier = world.sent[0][-1].barrier
        run_until(world, lambda: world.state.meetings[at_barrier].phase in ("released", "passed"))
    return world


def pulling(plan: Plan | None = None) -> CoreWorld:
    """Return a world, of the asking plan unless told otherwise, in which both sides pull."""
    world = reach("pull", plan=plan or asking_plan())
    world.unanswered.clear()
    for party in (FORE, AFT):
        world.feed(CommandStarted(world.now_us, party, command_of(world, party), world.now_us))
    return world


def run_until(world: CoreWorld, is_so: Callable[[], bool], *, busy: Sequence[int] = ()) -> None:
    """Answer and wait until something is so; `busy` parties only report progress."""
    for _ in range(TURNS_MAX):
        if is_so():
            return
        if busy or not world.answer_one():
            for party in busy:
                live = command_of(world, party)
                world.feed(CommandProgressed(world.now_us, party, live))
            world.wait(300_000)
    raise AssertionError("it never comes to be so")


def take_too_long(world: CoreWorld, party: int, *, busy: Sequence[int]) -> int:
    """Let a party's live command take longer than it may, while these work on; return it."""
    world.unanswered.clear()
    for _ in range(TURNS_MAX):
        if world.state.lanes[party].rest.failing:
            return command_of(world, party)
        for side in busy:
            world.feed(CommandProgressed(world.now_us, side, command_of(world, side)))
        world.wait(300_000)
    raise AssertionError("it never takes too long")


def command_of(world: CoreWorld, party: int) -> int:
    """Return the number of the last command sent to a party."""
    return world.sent[party][-1].command


def holds_of(world: CoreWorld, party: int) -> list[SendHold]:
    """Return every hold that a party was told."""
    return [e for e in world.effects if isinstance(e, SendHold) and e.party == party]


def kinds_of(effects: Sequence[Effect], kind: type[Kind]) -> list[Kind]:
    """Return the effects of one kind."""
    return [effect for effect in effects if isinstance(effect, kind)]


def words_of(world: CoreWorld, kind: str) -> list[str]:
    """Return the texts of every notice of a kind."""
    return [e.text for e in world.effects if isinstance(e, Notify) and e.kind == kind]


def reset_and_restart(world: CoreWorld) -> None:
    """A person resets and, as an act of its own, restarts."""
    for act in (Act.RESET, Act.RESTART):
        world.feed(OperatorActed(world.now_us, act, "Ada"))


def _is_reached(world: CoreWorld, name: str) -> bool:
    if not world.sent[0]:
        return False
    last = world.sent[0][-1]
    at_barrier = world.plan.barriers[last.barrier].name if last.barrier >= 0 else ""
    at_step = world.plan.nodes[last.node].name if last.node >= 0 else ""
    return name in (at_barrier, at_step)
