"""Tell how a counterexample ends: what breaks the property, and how everybody stands behind it.

What the walk keeps is folded: of a lane that stands it knows only that. So the counterexample is
decided once more by the real core, from the start, with nothing folded away.

Invariants: PV4, what is told of an end is what the core made of the counterexample itself.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from coordinator.core.decide import begin, decide
from coordinator.core.effects import Effect, SendDo, SendRelease
from coordinator.core.plan import Plan
from coordinator.core.state import ENDED, State
from coordinator.prove.canonical import Folder
from coordinator.prove.graph import CORE_ERRORS, Limits
from coordinator.prove.monitors import Happened, Judge, Violation, happened_at
from coordinator.prove.moves import Moves, Node, Step
from coordinator.prove.own import Own
from coordinator.prove.pieces import Pieces
from coordinator.prove.ways import WAYS

_LOOKED_AT_MAX = 5_000
"""States looked through for one that stands for good; more, and the first is shown as it is."""


@dataclass(frozen=True, slots=True)
class _Decision:
    """One decision of the core."""

    before: State
    after: State
    effects: tuple[Effect, ...]


def begun(own: Own) -> Node:
    """Return the state in which everybody is there and a person has started, not folded."""
    plan = own.plan
    state, memory = begin(plan), own.start
    for event in Moves(plan).begin_events():
        before = state
        state, effects = decide(plan, state, event)
        memory, _ = own.follow(memory, before, state, effects)
    return Node(state, (False,) * len(plan.parties), 0, memory)


def told_to_the_end(own: Own, limits: Limits, found: Violation) -> Violation:
    """Return a counterexample with what breaks the property and how it stands at the end.

    Args:
        own: The author's own properties.
        limits: Of the walk that found it.
        found: The counterexample, already without what it does without.
    """
    moves = Moves(own.plan, is_modular=False, own=own)
    node, text, by = begun(own), found.text, tuple[Happened, ...]()
    for happened in found.course:
        told = happened.lane, happened.words
        steps = moves.after(node, limits.causes)
        step = next((one for one in steps if (one.lane, one.words) == told), None)
        if step is None:
            return found  # The walk tells of it otherwise than it is decided: nothing is claimed.
        node, text, by = _take(own, node, step, found)
    later, node = _stuck(own, node, found.property) or (0, node)
    still = dict.fromkeys(_say(own.plan, one) for one in moves.after(node, node.causes))
    return replace(
        found,
        text=text,
        broken_by=by,
        end=node.state,
        later=later,
        silent=node.silent,
        still=tuple(still),
    )


def _stuck(own: Own, node: Node, name: str) -> tuple[int, Node] | None:
    """Return where a state without a way comes to stand for good, and how many things later.

    None where it does not, but goes round, or where that is too far to look for.
    """
    if name not in WAYS:
        return None
    moves = Moves(own.plan, is_modular=False, own=own)
    folder = Folder(own.plan, Pieces(own.plan, {}, is_cut=False))
    waiting, seen = [(0, node)], {node._replace(state=folder.fold(node.state))}
    while waiting and len(seen) <= _LOOKED_AT_MAX:
        count, at = waiting.pop()  # The last first: it goes straight on and not through all orders.
        steps = [
            one for one in moves.after(at, at.causes) if name == "way_to_end" or not one.person
        ]
        if not steps and at.state.phase not in ENDED:
            return count, at
        for step in steps:
            after = _take(own, at, step, None)[0]
            folded = after._replace(state=folder.fold(after.state))
            if folded not in seen:
                seen.add(folded)
                waiting.append((count + 1, after))
    return None


def _take(
    own: Own, node: Node, step: Step, found: Violation | None
) -> tuple[Node, str, tuple[Happened, ...]]:
    """Return the state after a step; what it breaks of the property; and by what."""
    state, memory = step.begins_in(node), node.memory
    text, by = found.text if found else "", tuple[Happened, ...]()
    judge = Judge(own.plan)
    for event in step.events:
        before = state
        try:
            state, effects = decide(own.plan, state, event)
        except CORE_ERRORS:
            break
        memory, own_broken = own.follow(memory, before, state, effects)
        if found is None:
            continue
        judged = judge.judge(before, state, effects)
        known = dict(own_broken) | (dict([judged]) if judged else {})
        if found.property in known:
            text = known[found.property]
            by = tuple(_breaking(own, found.property, _Decision(before, state, effects)))
    return node.after(step, state, memory), text, by


def _breaking(own: Own, name: str, decision: _Decision) -> Iterator[Happened]:
    """Yield what of a decision breaks a property, each with the step that it is at."""
    plan, before, after = own.plan, decision.before, decision.after
    for _, node, words in own.doers(name, before, after, decision.effects):
        yield happened_at(plan, node, words)
    if name == "nothing_left_out":
        for lane, nodes in zip(after.lanes, plan.lanes, strict=True):
            yield from (
                happened_at(plan, at, "is not done") for at in nodes if not lane.is_done(at)
            )
    judge = Judge(plan)
    for effects in _apart(decision.effects):
        judged = judge.judge(before, after, effects)
        if judged is not None and judged[0] == name:
            for effect in effects:
                if isinstance(effect, SendDo):
                    yield happened_at(plan, effect.node, f"is sent {effect.move.action}")
                elif isinstance(effect, SendRelease):
                    yield happened_at(plan, before.lanes[effect.party].node, "is released")


def _apart(effects: Sequence[Effect]) -> Iterator[tuple[Effect, ...]]:
    """Yield each command by itself, then all releases together."""
    yield from ((one,) for one in effects if isinstance(one, SendDo))
    yield tuple(one for one in effects if isinstance(one, SendRelease))


def _say(plan: Plan, step: Step) -> str:
    who = f"{plan.parties[step.lane].name} " if step.lane >= 0 else ""
    is_person = step.words.startswith("a person ")
    return step.words if is_person else f"{who}{step.words}"
