"""Tell whether what a run did is among what the proof has walked through.

A run and the walk are compared by the phase, and for each lane by what it has done, what it has at
hand, and whether a person is asked. The walk takes some things in one step that a run takes in two
(a party breaks off, then stands), so a state of a run may be passed over if the next one follows in
the walk.
"""

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from coordinator.core.plan import Plan
from coordinator.core.state import State
from coordinator.prove.explore import start_of
from coordinator.prove.graph import Expander, Limits
from coordinator.prove.moves import Node
from coordinator.prove.own import Own
from coordinator.prove.parts import Look
from coordinator.prove.reach import reach
from coordinator.prove.store import Store

PASSED_OVER_MAX = 3
"""Chosen: a hold of three parties is taken lane by lane in a run."""
Seen = tuple[Any, ...]


class Verdict(NamedTuple):
    """What came of a run."""

    accepted: int
    """States that the walk has too."""
    passed_over: int
    refused: State | None
    """The first state that the walk does not lead to."""


class Acceptor:
    """The walk through one plan, nothing left out and nothing folded by place."""

    def __init__(self, plan: Plan, causes: int) -> None:
        """Walk through it."""
        limits = Limits(causes, is_modular=False, is_cut=False)
        self._expander = Expander(Own(plan), limits, Store(), is_orderly=False)
        start = start_of(self._expander)
        self._places = self._expander.local.places_of(start.state)
        look = self._expander.local.look(start, self._places)
        first = self._expander.number(self._places, look, lambda: start)
        found = reach(self._expander, self._places, [(first, 0)], limits.states_max)
        assert found is not None
        assert not found.leaving
        graph = self._expander.graph(self._places)
        self._seen = {number: self._seen_in(look) for look, number in graph.numbers.items()}
        self._after = {
            number: tuple(target for target, _ in graph.edges(number)) for number in found.order
        }
        self._first = first
        self.states = len(self._seen)

    def judge(self, states: Iterable[State]) -> Verdict:
        """Follow a run from its start through the walk."""
        at = self._closed([self._first])
        now = self._seen[self._first]
        is_begun, accepted, over = False, 0, []
        for state in states:
            seen = self._look(state)
            is_begun = is_begun or seen == now
            if not is_begun or seen == now:
                continue
            ahead = self._ahead(at, seen)
            if ahead:
                at, now, accepted = self._closed(ahead), seen, accepted + 1
                over.append(0)
                continue
            over.append(1)
            if sum(over[-PASSED_OVER_MAX - 1 :]) > PASSED_OVER_MAX:
                return Verdict(accepted, sum(over), state)
        is_left = bool(over) and over[-1] == 1
        return Verdict(accepted, sum(over), state if is_left else None)

    def _look(self, state: State) -> Seen:
        folded = self._expander.folder.fold(state)
        node = Node(folded, (False,) * len(state.lanes), 0)
        return self._seen_in(self._expander.local.look(node, self._places))

    def _seen_in(self, look: Look) -> Seen:
        parts: tuple[Any, ...] = self._expander.local.read(look)
        *lanes, rest = parts
        return rest[0], tuple((lane[0], lane[1], lane[-1].prompt > 0) for lane in lanes)

    def _closed(self, numbers: Sequence[int]) -> list[int]:
        """Return all states that look the same and are reached from some of these."""
        found = dict.fromkeys(numbers)
        waiting = list(numbers)
        while waiting:
            number = waiting.pop()
            for target in self._after[number]:
                if target not in found and self._seen[target] == self._seen[number]:
                    found[target] = None
                    waiting.append(target)
        return list(found)

    def _ahead(self, numbers: Sequence[int], seen: Seen) -> list[int]:
        return list(
            dict.fromkeys(
                target
                for number in numbers
                for target in self._after[number]
                if self._seen[target] == seen
            )
        )
