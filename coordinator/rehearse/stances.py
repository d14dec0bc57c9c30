"""Where an arm can stand and go at each of its steps, by the moves that the core may command there.

What an action does in space is declared beside it (`sim_arms/activities/start.py`); tests compare
it with every way that arms go in rehearsals. An arm that is held goes on along its way or back, so
nothing beside these ways is swept.

Units: metre.
Invariants: CL2, wherever an arm stands or goes while a step is the last that it began, a stretch of
that step contains it.
"""

from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from coordinator.core.plan import Move, Node, Option, Plan
from coordinator.prove.concurrency import NOTHING, Concurrency, Follows, Spot
from sim_arms.activities import ACTIONS
from sim_arms.activities.bench import RETRACT_S
from sim_arms.physics.arm_chain import ArmChain, OutOfReachError, Point
from sim_arms.physics.motion import Layout, Way
from sim_arms.workbench import STAND_BY

BY_HAND_MAX = 1
"""Chosen: how many steps a person may have done by hand while the arm stands where it was."""


class Stretch(NamedTuple):
    """A leg that an arm goes, or a place where it stands."""

    start: Point
    end: Point
    """As `start` where it stands."""
    is_lowered: bool
    """Whether the tool may be down on its slide."""
    zone: int
    """Held meanwhile, -1 for none."""


class Stance(NamedTuple):
    """Where an arm has come to rest."""

    place: str
    is_lowered: bool
    zone: int
    by_hand: int
    """Steps that a person has done for it so far, and that it did not follow."""


@dataclass(frozen=True, slots=True)
class Reach:
    """What one arm can sweep."""

    stretches: Mapping[Spot, frozenset[Stretch]]
    """By how far the arm has come: of a step that is done, only what may follow where it ended."""
    out_of_reach: tuple[str, ...] = ()
    """Ways that no joint angles lead along, in words."""


def reach_of(
    plan: Plan, together: Concurrency, lane: int, chain: ArmChain, layout: Layout
) -> Reach:
    """Return what one arm can sweep at each of its steps.

    Args:
        plan: The plan.
        together: Which step may follow which.
        lane: The arm's.
        chain: Its joints.
        layout: Where its places are.
    """
    geometry = _Geometry(chain, layout, plan.parties[lane].name)
    steps = {node: _Step.of(plan, node) for node in plan.lanes[lane] if plan.nodes[node].move}
    begin = Stance("park", False, -1, 0)
    closed: dict[tuple[int, int], _Closed] = {}
    after: dict[int, list[Follows]] = {}
    for one in sorted(together.follows):
        if one.lane == lane:
            after.setdefault(one.before, []).append(one)
    start = geometry.rest(begin)
    queue = deque(
        [_Come(NOTHING, _Closed(frozenset([start]), frozenset([begin]), frozenset([begin])))]
    )
    while queue:
        come = queue.popleft()
        for one in after.get(come.step, ()):
            key = one.before, one.step
            known = closed.get(key, _NOTHING_YET)
            entries = known.entries | (come.closed.ends if one.in_order else come.closed.stances)
            if one.before != one.step and entries != known.entries:
                closed[key] = _close(steps[one.step], entries, geometry)
                queue.append(_Come(one.step, closed[key]))
    stretches = {Spot(NOTHING, NOTHING, is_done=True): frozenset([start])}
    for (before, step), one_closed in closed.items():
        when_done = _close(steps[step].over(), one_closed.ends, geometry)
        stretches[Spot(step, before, is_done=False)] = one_closed.stretches
        stretches[Spot(step, before, is_done=True)] = when_done.stretches
    return Reach(stretches, tuple(sorted(geometry.out_of_reach)))


@dataclass(frozen=True, slots=True)
class _Step:
    """The moves that may be made while a step is the last begun."""

    own: Move | None
    others: tuple[Move, ...]
    may_be_by_hand: bool
    when_done: tuple[Move, ...]
    """Those that may still be made before the next step: it is looked at again, or left."""

    @classmethod
    def of(cls, plan: Plan, node: int) -> "_Step":
        lane = plan.lanes[plan.nodes[node].lane]
        following = lane[lane.index(node) + 1 :]
        until = next((at for at, one in enumerate(following) if plan.nodes[one].move), 0)
        others = _others(plan, node)
        soon = (move for one in following[: until + 1] for move in _others(plan, one))
        step = plan.nodes[node]
        return cls(step.move, others, _may_be_by_hand(plan, step), (*others, *soon))

    def over(self) -> "_Step":
        """Return what may be made once it is done."""
        return _Step(None, tuple(dict.fromkeys(self.when_done)), False, ())


def _others(plan: Plan, node: int) -> tuple[Move, ...]:
    """Return the moves that may be made at a node beside its own."""
    step, tool_on = plan.nodes[node], plan.tool_on.get(node)
    moves = (
        *step.rechecks,
        *step.leave,
        *(move for rule in step.rules for move in rule.recover),
        *(move for interlock in plan.interlocks for move in interlock.rechecks),
        *((*tool_on.off, *tool_on.on) if tool_on else ()),
    )
    return tuple(dict.fromkeys(moves))


def _may_be_by_hand(plan: Plan, step: Node) -> bool:
    prompts = [plan.prompts[rule.prompt] for rule in step.rules if rule.prompt >= 0]
    return any(option is Option.BY_HAND for one in prompts for option, _ in one.options)


class _Closed(NamedTuple):
    """All that may become of a step."""

    stretches: frozenset[Stretch]
    stances: frozenset[Stance]
    ends: frozenset[Stance]
    """Those in which it is done."""
    entries: frozenset[Stance] = frozenset()
    """Those from which it is begun."""


_NOTHING_YET = _Closed(frozenset(), frozenset(), frozenset())


class _Come(NamedTuple):
    """What a step has come to, from which the next is begun."""

    step: int
    closed: _Closed


def _close(step: _Step, entries: frozenset[Stance], geometry: "_Geometry") -> _Closed:
    """Make every move of a step from every stance, in any order, until nothing new comes."""
    stretches: set[Stretch] = set()
    stances, queue = set(entries), deque(sorted(entries))
    ends: set[Stance] = set()
    while queue:
        stance = queue.popleft()
        stretches.add(geometry.rest(stance))
        if step.may_be_by_hand and stance.by_hand < BY_HAND_MAX:
            ends.add(stance._replace(by_hand=stance.by_hand + 1))
        for move in (step.own, *step.others):
            if move is None:
                continue
            made = geometry.make(move, stance)
            stretches |= made.stretches
            if move is step.own:
                ends |= made.ends
            for new in sorted((made.stances | made.ends) - stances):
                stances.add(new)
                queue.append(new)
    return _Closed(frozenset(stretches), frozenset(stances), frozenset(ends), entries)


class _Geometry:
    """The ways of one arm."""

    def __init__(self, chain: ArmChain, layout: Layout, side: str) -> None:
        self._chain, self._layout, self._side = chain, layout, side
        self.out_of_reach: set[str] = set()
        self.make = lru_cache(maxsize=None)(self._make)

    def rest(self, stance: Stance) -> Stretch:
        """Return the place of a stance as a stretch."""
        point = self._layout.point(self._side, stance.place)
        return Stretch(point, point, stance.is_lowered, stance.zone)

    def _make(self, move: Move, stance: Stance) -> _Closed:
        """Return what a move sweeps from a stance, where it may stop, and where it ends."""
        if move.action == STAND_BY:
            return _Closed(frozenset(), frozenset([stance]), frozenset([stance]))
        entry, takes = ACTIONS[move.action], dict(move.parameters)
        zone = move.zone if move.zone >= 0 else stance.zone
        begin = stance._replace(zone=zone)
        stances, stretches, ends = {begin}, set[Stretch](), set[Stance]()
        if entry.draws_up:
            begin = begin._replace(is_lowered=False)
            stances.add(begin)
        bolt = f"bolt.{takes.get('bolt', takes.get('hole'))}"
        for course in entry.courses:
            now = begin
            for visit in course:
                place = bolt if visit.place == "bolt" else visit.place
                stretches |= set(self._way(now, place))
                if now.place != place:
                    now = now._replace(place=place, is_lowered=False)
                stances.add(now)
                if visit.puts_down:
                    now = now._replace(is_lowered=True)
                    stances.add(now)
            ends.add(now._replace(zone=move.zone))
        stretches |= {self.rest(one) for one in (*stances, *ends)}
        return _Closed(frozenset(stretches), frozenset(stances), frozenset(ends))

    def _way(self, stance: Stance, place: str) -> Iterator[Stretch]:
        if stance.place == place:
            return
        start, end = (self._layout.point(self._side, one) for one in (stance.place, place))
        try:
            way = Way.between(self._chain, self._layout, start, end)
        except OutOfReachError as error:
            self.out_of_reach.add(f"{self._side} from {stance.place} to {place}: {error}")
            return
        left_s = RETRACT_S if stance.is_lowered else 0.0
        for leg in way.legs:
            # There and back again an arm passes the same points.
            ends = min(leg.start, leg.end), max(leg.start, leg.end)
            yield Stretch(*ends, left_s > 0.0, stance.zone)
            left_s -= leg.duration_s
