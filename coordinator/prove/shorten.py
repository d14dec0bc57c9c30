"""Take out of a counterexample all that it does without: the walk looks at some things first.

What touches only one lane is looked at before the rest (`moves.py`, M3), so a path that the walk
finds may tell of things that need not have happened yet. Here each is left out in turn, and with it
what cannot come without it, and the real core is asked whether it ends the same.

Invariants: PV2, a counterexample is the shortest there is.
Source: delta debugging, one element at a time; Zeller, Hildebrandt, Simplifying and Isolating
Failure-Inducing Input, IEEE Transactions on Software Engineering 28 (2), 2002.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from coordinator.core.decide import decide
from coordinator.core.state import ENDED
from coordinator.prove.canonical import Folder
from coordinator.prove.graph import CORE_ERRORS, Limits, phase_of
from coordinator.prove.monitors import Happened, Judge, Violation
from coordinator.prove.moves import Moves, Node, Step
from coordinator.prove.own import Own
from coordinator.prove.pieces import Pieces
from coordinator.prove.ways import WAYS, excused_of, goals_of

_LOOKED_AT_MAX = 20_000
"""States looked through for a way out of one; more than this, and what is there stays."""


class _Taken(NamedTuple):
    """What a step has come to."""

    node: Node | None
    """None where the core itself broke."""
    broken: frozenset[str] = frozenset()


class _Path(NamedTuple):
    """A course that ends as it should."""

    kept: tuple[int, ...]
    """Places in the course that was found."""
    nodes: tuple[Node, ...]
    """The state before each of them, at least."""


class Shortener:
    """Shortens counterexamples of one plan."""

    def __init__(self, own: Own, limits: Limits) -> None:
        """Prepare; nothing is left out of what may happen, but in the search for ways out."""
        self._plan = own.plan
        self._own = own
        self._causes = limits.causes
        self._all = Moves(own.plan, is_modular=False, own=own)
        self._first = Moves(own.plan, own=own)
        self._folder = Folder(own.plan, Pieces(own.plan, {}, is_cut=False))
        self._judge = Judge(own.plan)
        self._lost: dict[tuple[bool, Node], bool] = {}

    def shortened(self, found: Violation, start: Node) -> Violation:
        """Return the counterexample without what it does without.

        Args:
            found: As the walk found it.
            start: The state that its path begins in.
        """
        path = self._replayed(found, range(len(found.course)), start)
        if path is None:
            return found  # It is not told by one thing at a time; it stays as it was found.
        is_less = True
        while is_less:
            shorter = self._with_less(found, path)
            path, is_less = shorter, len(shorter.kept) < len(path.kept)
        course = tuple(found.course[at] for at in path.kept)
        return replace(
            found,
            path=tuple(found.path[at] for at in path.kept),
            causes=sum(one.is_cause for one in course),
            course=course,
        )

    def _with_less(self, found: Violation, path: _Path) -> _Path:
        """Leave out each thing in turn, with what cannot come without it, the last first."""
        for at in reversed(range(len(path.kept))):
            if at >= len(path.kept):
                continue
            rest = self._replayed(found, path.kept[at + 1 :], path.nodes[at])
            if rest is not None:
                path = _Path((*path.kept[:at], *rest.kept), (*path.nodes[:at], *rest.nodes))
        return path

    def _replayed(self, found: Violation, kept: Sequence[int], start: Node) -> _Path | None:
        """Let things happen as far as they can; None where it does not end so."""
        taken, nodes = list[int](), [start]
        for at in kept:
            step = self._step(nodes[-1], found.course[at])
            if step is None:
                continue  # A pause that is left out is not ended either.
            taken.append(at)
            node, broken = self._take(nodes[-1], step)
            if found.property in broken:
                return _Path(tuple(taken), tuple(nodes))
            if node is None:
                return None
            nodes.append(node)
        is_so = self._holds_at(found.property, nodes[-1])
        return _Path(tuple(taken), tuple(nodes)) if is_so else None

    def _step(self, node: Node, happened: Happened) -> Step | None:
        """Return the step by which a thing may happen in a state."""
        told = happened.lane, happened.words
        steps = self._all.after(node, self._causes)
        return next((one for one in steps if (one.lane, one.words) == told), None)

    def _take(self, node: Node, step: Step) -> _Taken:
        state, memory, broken = step.begins_in(node), node.memory, set[str]()
        for event in step.events:
            before = state
            try:
                state, effects = decide(self._plan, state, event)
            except CORE_ERRORS:
                return _Taken(None, frozenset(("core_sound",)))
            memory, own_broken = self._own.follow(memory, before, state, effects)
            broken |= {name for name, _ in own_broken}
            judged = self._judge.judge(before, state, effects)
            broken |= set() if judged is None else {judged[0]}
        after = node.after(step, self._folder.fold(state), memory)
        return _Taken(after, frozenset(broken))

    def _holds_at(self, name: str, node: Node) -> bool:
        """Tell whether a state by itself breaks a property."""
        if name == "no_deadlock":
            steps = self._all.after(node, self._causes)
            return node.state.phase not in ENDED and all(step.cost for step in steps)
        if name == "rounds_together":
            taken = (self._take(node, step).node for step in self._all.after(node, self._causes))
            return any(self._judge.judge_rounds_in(one.state) for one in taken if one is not None)
        if name in WAYS:
            return self._is_lost(node, is_end=name == "way_to_end")
        return False

    def _is_lost(self, node: Node, *, is_end: bool) -> bool:
        """Tell whether no way leads from a state to its goal with nothing more going wrong."""
        goals = goals_of(ends=is_end)
        if phase_of(self._plan, node.state) in excused_of(ends=is_end):
            return False
        known = self._lost.get((is_end, node))
        if known is not None:
            return known
        seen, waiting = {node}, [node]
        while waiting and len(seen) <= _LOOKED_AT_MAX:
            at = waiting.pop()
            if phase_of(self._plan, at.state) in goals or self._lost.get((is_end, at)) is False:
                self._lost[is_end, node] = False
                return False
            for step in self._first.after(at, at.causes):
                after = None if step.person and not is_end else self._take(at, step).node
                if after is not None and after not in seen:
                    seen.add(after)
                    waiting.append(after)
        is_lost = not waiting
        self._lost |= {(is_end, one): True for one in seen} if is_lost else {}
        return is_lost
