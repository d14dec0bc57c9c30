"""Build a timeline out of decided events: works for a rehearsal and for a journal alike.

Units: ``*_us`` whole microseconds since the run began.
Invariants: RC10, the intervals of a lane follow one another without gap or overlap; RC11, a wait at
a barrier is charged to the party that came last, as it was.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from statistics import median

from coordinator.core.effects import Effect, Notify, RaisePrompt
from coordinator.core.events import Event
from coordinator.core.plan import NodeKind, Plan
from coordinator.core.state import Doing, Lane, State

Decided = tuple[Event, tuple[Effect, ...], State]
_WHICH = re.compile(r"\s+(?:bolt\b|hole\b|round\b|#?\d).*$")
"""From here on a step's name says which bolt, round or repetition it is about."""


@dataclass(frozen=True, slots=True)
class Interval:
    """What one lane did for a while."""

    lane: int
    kind: str
    """work, recover, wait, held, or idle."""
    name: str
    begin_us: int
    end_us: int
    node: int = -1
    charged_to: str = ""
    """At a wait: the party, or what else, that it was for."""


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened at one moment."""

    at_us: int
    text: str
    severity: str


@dataclass(frozen=True, slots=True)
class Timeline:
    """All of a run."""

    name: str
    parties: tuple[str, ...]
    intervals: tuple[Interval, ...]
    marks: tuple[Mark, ...]
    end_us: int
    critical: tuple[Interval, ...] = ()
    """From the end backwards along whoever was waited for, told from the beginning."""

    def waits_us(self) -> dict[str, int]:
        """Return for how long each party, or what else, was waited for."""
        charged: dict[str, int] = {}
        for one in self.intervals:
            if one.kind == "wait":
                length_us = one.end_us - one.begin_us
                charged[one.charged_to] = charged.get(one.charged_to, 0) + length_us
        return dict(sorted(charged.items()))


def build(plan: Plan, decided: Iterable[Decided]) -> Timeline:
    """Return the timeline of a run.

    Args:
        plan: Names lanes and nodes.
        decided: Every event with its effects and the state after it, in order.
    """
    count = len(plan.parties)
    running: list[Interval] = [Interval(lane, "idle", "", 0, 0) for lane in range(count)]
    ended: list[Interval] = []
    marks: list[Mark] = []
    at_us, phase = 0, "idle"
    for event, effects, state in decided:
        at_us = max(at_us, event.at_us)
        if state.phase != phase:
            phase = state.phase
            marks.append(Mark(at_us, f"the procedure is {phase}", "note"))
        marks += _marks(plan, effects, at_us)
        for lane in range(count):
            kind, name, node = doing_of(plan, state, lane)
            current = running[lane]
            if (kind, name, node) != (current.kind, current.name, current.node):
                if at_us > current.begin_us:
                    ended.append(replace(current, end_us=at_us))
                running[lane] = Interval(lane, kind, name, at_us, at_us, node)
    ended += [replace(one, end_us=at_us) for one in running if at_us > one.begin_us]
    charged = _charge(plan, sorted(ended, key=lambda one: (one.begin_us, one.lane)))
    names = tuple(party.name for party in plan.parties)
    made = Timeline(plan.name, names, charged, tuple(marks), at_us)
    return replace(made, critical=_critical(made))


def _marks(plan: Plan, effects: Sequence[Effect], at_us: int) -> list[Mark]:
    found = []
    for effect in effects:
        if isinstance(effect, RaisePrompt):
            found.append(Mark(at_us, f"prompt: {plan.nodes[effect.node].name}", "alarm"))
        elif isinstance(effect, Notify) and effect.severity != "note":
            found.append(Mark(at_us, effect.text, effect.severity))
    return found


def doing_of(plan: Plan, state: State, lane: int) -> tuple[str, str, int]:
    """Return what a lane does: kind of interval, name, node."""
    at_hand: Lane = state.lanes[lane]
    if state.phase in ("holding", "held", "pausing", "paused") and not at_hand.command:
        return "held", state.phase, at_hand.node
    if at_hand.node < 0:
        return "idle", "", -1
    node = plan.nodes[at_hand.node]
    is_at_barrier = at_hand.phase in ("arming", "armed") or node.kind is NodeKind.BARRIER
    if at_hand.doing is Doing.MOVE:
        return "recover", f"{at_hand.queue[0].action} for {node.name}", at_hand.node
    if is_at_barrier or at_hand.doing is Doing.STAND:
        return "wait", node.name, at_hand.node
    if at_hand.prompt:
        return "wait", f"a person at {node.name}", at_hand.node
    if at_hand.command:
        return "work", node.name, at_hand.node
    return "wait", f"before {node.name}", at_hand.node


def _charge(plan: Plan, intervals: Sequence[Interval]) -> tuple[Interval, ...]:
    """Charge every wait: at a barrier to the party that came last, else to what was missing."""
    begins = {(one.lane, one.node, one.end_us): one for one in intervals if one.kind == "wait"}
    charged = []
    for one in intervals:
        if one.kind != "wait":
            charged.append(one)
            continue
        node = plan.nodes[one.node]
        if node.kind is not NodeKind.BARRIER:
            who = "a person" if one.name.startswith("a person") else "zone or interlock"
            charged.append(replace(one, charged_to=who))
            continue
        barrier = plan.barriers[node.barrier]
        arrivals = [
            (mine.begin_us, lane)
            for lane, other in zip(barrier.lanes, barrier.nodes, strict=True)
            if (mine := _overlapping(begins.values(), lane, other, one)) is not None
        ]
        last_us, last = max(arrivals)
        # Who came last waits only for the meeting itself.
        is_own = last == one.lane or last_us <= one.begin_us
        who = "the meeting" if is_own else plan.parties[last].name
        charged.append(replace(one, charged_to=who))
    return tuple(charged)


def _overlapping(
    waits: Iterable[Interval], lane: int, node: int, mine: Interval
) -> Interval | None:
    """Return when another lane stood at the same meeting."""
    fits = (
        one
        for one in waits
        if (one.lane, one.node) == (lane, node)
        and one.end_us >= mine.begin_us
        and one.begin_us <= mine.end_us
    )
    return next(fits, None)


def _critical(made: Timeline) -> tuple[Interval, ...]:
    """Follow, from the end backwards, whoever was waited for."""
    lanes = [
        [one for one in made.intervals if one.lane == lane] for lane in range(len(made.parties))
    ]
    busy = [one for one in made.intervals if one.kind in ("work", "recover")]
    if not busy:
        return ()
    path: list[Interval] = []
    lane = max(busy, key=lambda one: (one.end_us, -one.lane)).lane
    at_us = made.end_us
    for _ in range(len(made.intervals) + len(made.parties)):
        before = [one for one in lanes[lane] if one.begin_us < at_us]
        if not before:
            break
        one = before[-1]
        if one.kind == "wait" and one.charged_to in made.parties:
            lane = made.parties.index(one.charged_to)
            continue
        path.append(replace(one, end_us=min(one.end_us, at_us)))
        at_us = one.begin_us
    return tuple(reversed(path))


@dataclass(frozen=True, slots=True)
class Divergence:
    """Where two runs first did different things."""

    lane: str
    place: int
    """Which thing of that lane, from 0."""
    first: str
    second: str
    at_us: int


def first_divergence(one: Timeline, other: Timeline) -> Divergence | None:
    """Return the first moment at which two runs did different things, None if they did not.

    How long something took makes no difference; waits are left out, since they follow from it.
    """
    found = []
    for lane, name in enumerate(one.parties):
        mine, theirs = _deeds(one, lane), _deeds(other, lane)
        for place in range(max(len(mine), len(theirs))):
            here = mine[place] if place < len(mine) else None
            there = theirs[place] if place < len(theirs) else None
            if (here and (here.kind, here.name)) != (there and (there.kind, there.name)):
                known = here or there
                at_us = known.begin_us if known else 0
                found.append(Divergence(name, place, _word(here), _word(there), at_us))
                break
    return min(found, key=lambda one: one.at_us) if found else None


def _deeds(made: Timeline, lane: int) -> list[Interval]:
    return [one for one in made.intervals if one.lane == lane and one.kind in ("work", "recover")]


def _word(one: Interval | None) -> str:
    return "nothing more" if one is None else f"{one.kind} {one.name}"


@dataclass(frozen=True, slots=True)
class StepDuration:
    """How long one kind of step took one side."""

    side: str
    step: str
    count: int
    least_s: float
    median_s: float
    most_s: float


def durations(timelines: Iterable[Timeline]) -> tuple[StepDuration, ...]:
    """Return each step's durations, whichever bolt it was about, by side and then by length.

    Recoveries and waits are not counted; a step that was tried again counts once for each try.
    """
    found: dict[tuple[str, str], list[float]] = {}
    for made in timelines:
        for one in made.intervals:
            if one.kind == "work":
                key = made.parties[one.lane], _WHICH.sub("", one.name)
                found.setdefault(key, []).append((one.end_us - one.begin_us) / 1e6)
    made_of = (
        StepDuration(side, step, len(took), min(took), median(took), max(took))
        for (side, step), took in found.items()
    )
    return tuple(sorted(made_of, key=lambda one: (one.side, -one.median_s, one.step)))
