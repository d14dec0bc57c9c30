"""Which steps of two arms can stand or be under way together, in any order of events.

The proof's own graph leaves orders out that change nothing for its invariants, so it cannot answer
this. Here every lane goes its own way between the barriers that it shares with others; the result
is a superset of what the core can do. Tests compare it with what the core does in rehearsals and
campaigns.

A lane is (mask of what is done, node at hand, step that it began last, and the step before that).
The last step and the one before decide where its arm is: an arm that waits, is held, or is asked
about still stands there, or has not left yet.

Left out, so that the relation is wider than the truth: zones, interlocks, modes, causes and times.

Invariants: CL1, no two steps of two arms are under way, or stood at, together that the relation of
steps does not name.
"""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from coordinator.core.plan import NodeKind, Plan, Span

NOTHING = -1
"""No step has been begun yet, or no node is at hand."""
FINISHED = -2
GO_BACKS = 1
"""Chosen: rounds begun again by a person, as many as causes in a proof of the gate."""
STATES_MAX = 3_000_000


class Lane(NamedTuple):
    """Where one lane is."""

    done: int
    """A mask of nodes."""
    at: int
    """Node at hand, `NOTHING` between two, `FINISHED` after the last."""
    last: int
    """Step begun last, `NOTHING` before the first."""

    before: int
    """Another step, begun last before that one."""

    @property
    def spot(self) -> "Spot":
        """How far it has come."""
        is_done = self.last == NOTHING or bool(self.done >> self.last & 1)
        return Spot(self.last, self.before, is_done)

    def beginning(self, done: int, step: int) -> "Lane":
        """Return the lane as it begins a step."""
        before = self.before if step == self.last else self.last
        return Lane(done, step, step, before)

    def between(self, done: int) -> "Lane":
        """Return the lane between two nodes."""
        return Lane(done, NOTHING, self.last, self.before)


class _State(NamedTuple):
    lanes: tuple[Lane, ...]
    backs: int


class Follows(NamedTuple):
    """That a step of a lane may be begun when another was begun last."""

    lane: int
    before: int
    """`NOTHING` where it is the first."""
    step: int
    in_order: bool
    """The one before was done; else it was begun, and anything may have become of it."""


class Spot(NamedTuple):
    """How far a lane has come."""

    step: int
    """The one begun last, `NOTHING` before the first."""
    before: int
    """Another step, begun last before that one; likewise."""
    is_done: bool


@dataclass(frozen=True, slots=True)
class Concurrency:
    """What can be together."""

    pairs: frozenset[tuple[Spot, Spot]]
    """Of the first arm and the second."""
    follows: frozenset[Follows]
    states: int
    """How many were looked at."""
    go_backs: int
    """How often a person was taken to send both back over rounds."""


class TooManyStates(Exception):  # noqa: N818 (it says what there are)
    """More states than may be looked at; nothing is known then."""


def concurrency(plan: Plan, arms: tuple[int, int], go_backs: int = GO_BACKS) -> Concurrency:
    """Return which steps of two arms can be together.

    Args:
        plan: The plan.
        arms: Two lanes of it.
        go_backs: How often rounds may be begun again by a person.

    Raises:
        TooManyStates: there are more than `STATES_MAX`.
    """
    walk = _Walk(plan, go_backs)
    begin = _State(tuple(Lane(0, NOTHING, NOTHING, NOTHING) for _ in plan.lanes), 0)
    seen, queue = {begin}, deque([begin])
    while queue:
        for state in walk.after(queue.popleft()):
            if state not in seen:
                seen.add(state)
                queue.append(state)
        if len(seen) > STATES_MAX:
            raise TooManyStates(f"more than {STATES_MAX:,} states of lanes and barriers")
    first, second = arms
    pairs = frozenset((state.lanes[first].spot, state.lanes[second].spot) for state in seen)
    return Concurrency(pairs, frozenset(walk.follows), len(seen), go_backs)


class _Walk:
    """Every state that may follow one."""

    def __init__(self, plan: Plan, go_backs: int) -> None:
        self._plan, self._go_backs = plan, go_backs
        self._inside = [_Inside.of(plan, span) for span in plan.spans]
        self._span_of = {
            node: index
            for index, inside in enumerate(self._inside)
            for own in inside.nodes.values()
            for node in own
        }
        self.next_of = lru_cache(maxsize=None)(self._next_of)
        self.follows: set[Follows] = set()

    def after(self, state: _State) -> Iterator[_State]:
        """Yield what may follow."""
        for index, lane in enumerate(state.lanes):
            for after in self._alone(index, lane):
                yield _with(state, index, after)
            span = self._span_of.get(lane.at, -1)
            if span >= 0 and self._all_inside(state, span):
                yield from self._in_span(state, span)
        for barrier in self._plan.barriers:
            if all(
                state.lanes[lane].at == node
                for lane, node in zip(barrier.lanes, barrier.nodes, strict=True)
            ):
                yield self._released(state, barrier.lanes, barrier.nodes)

    def _next_of(self, lane: int, done: int) -> int:
        for node in self._plan.lanes[lane]:
            needed = self._plan.needed[node]
            if not done >> node & 1 and done & needed == needed:
                return node
        return FINISHED

    def _alone(self, index: int, lane: Lane) -> Iterator[Lane]:
        """Yield what a lane may do without the others."""
        if lane.at == NOTHING:
            node = self.next_of(index, lane.done)
            is_step = node != FINISHED and self._plan.nodes[node].move is not None
            if is_step:
                self.follows.add(Follows(index, lane.last, node, lane.spot.is_done))
                yield lane.beginning(lane.done, node)
            else:
                yield lane._replace(at=node)
        elif lane.at != FINISHED and self._plan.nodes[lane.at].kind is not NodeKind.BARRIER:
            yield lane.between(lane.done | 1 << lane.at)
            yield lane.between(lane.done)  # It is tried again.
            for rule in self._plan.nodes[lane.at].rules:
                if rule.again_from >= 0:
                    between = _mask(
                        node
                        for node in self._plan.lanes[index]
                        if rule.again_from <= node <= lane.at
                    )
                    yield lane.between(lane.done & ~between)

    def _all_inside(self, state: _State, span: int) -> bool:
        for index in self._inside[span].nodes:
            lane = state.lanes[index]
            node = self.next_of(index, lane.done) if lane.at == NOTHING else lane.at
            if self._span_of.get(node, -1) != span:
                return False
        return True

    def _in_span(self, state: _State, span: int) -> Iterator[_State]:
        """Yield where the sides of a span may be set: one fate for both, anywhere inside it."""
        inside = self._inside[span]
        back = state
        for index in inside.nodes:
            lane = state.lanes[index]
            for at in inside.spots(index, lane):
                if at.at != NOTHING:
                    self.follows.add(Follows(index, lane.last, at.at, in_order=False))
                yield _with(state, index, at)
            base = lane.between(lane.done & ~inside.masks[index])
            back = _with(back, index, base)
        yield back
        if state.backs < self._go_backs:
            yield from self._back_over_rounds(state, inside)

    def _back_over_rounds(self, state: _State, inside: "_Inside") -> Iterator[_State]:
        """Yield both sides put back: a bolt replaced, or the round before pulled again."""
        here = self._plan.round_of[inside.first_step]
        if here is None:
            return
        number, pair = here
        for begin, is_pair_alone in ((1, True), (max(1, number - 1), False)):
            lanes = list(state.lanes)
            for index in inside.nodes:
                undone = 0
                for (round_number, its_pair), part in self._plan.rounds[index].items():
                    if begin <= round_number <= number and (not is_pair_alone or its_pair == pair):
                        undone |= part.nodes
                lane = lanes[index]
                lanes[index] = lane.between(lane.done & ~undone)
            yield _State(tuple(lanes), state.backs + 1)

    def _released(self, state: _State, lanes: tuple[int, ...], nodes: tuple[int, ...]) -> _State:
        for index, node in zip(lanes, nodes, strict=True):
            lane = state.lanes[index]
            state = _with(state, index, lane.between(lane.done | 1 << node))
        return state


@dataclass(frozen=True, slots=True)
class _Inside:
    """The nodes of a span with the barriers that open and close it, by lane."""

    nodes: dict[int, tuple[int, ...]]
    masks: dict[int, int]
    """Of the opening barrier and the steps, which a span that begins again undoes."""
    first_step: int

    @classmethod
    def of(cls, plan: Plan, span: Span) -> "_Inside":
        opens, closes = plan.barriers[span.opens], plan.barriers[span.closes]
        nodes, masks = {}, {}
        for lane, steps in zip(span.lanes, span.nodes, strict=True):
            opening = opens.nodes[opens.lanes.index(lane)]
            nodes[lane] = (opening, *steps, closes.nodes[closes.lanes.index(lane)])
            masks[lane] = _mask((opening, *steps))
        return cls(nodes, masks, next(node for steps in span.nodes for node in steps))

    def spots(self, index: int, lane: Lane) -> Iterator[Lane]:
        """Yield every spot of a lane inside, with the steps before it done or made by hand."""
        opening, *steps, closing = self.nodes[index]
        if lane.at == closing:
            return
        done = lane.done & ~self.masks[index] | 1 << opening
        for step in steps:
            yield lane.beginning(done, step)
            done |= 1 << step
        yield lane.between(done)


def _with(state: _State, index: int, lane: Lane) -> _State:
    lanes = state.lanes
    return _State((*lanes[:index], lane, *lanes[index + 1 :]), state.backs)


def _mask(nodes: Iterator[int] | tuple[int, ...]) -> int:
    mask = 0
    for node in nodes:
        mask |= 1 << node
    return mask
