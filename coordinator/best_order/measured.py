"""Read out of a timeline how long each step took, and how long each meeting took by itself.

How long a step takes depends on where the step before has left its arm.

Units: ``*_us`` whole microseconds.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TypeVar

from coordinator.best_order.lane_order import NOWHERE, lay_out
from coordinator.core.plan import NodeKind, Plan
from coordinator.timeline.build import Timeline

Key = TypeVar("Key")


@dataclass(frozen=True, slots=True)
class Measured:
    """What one rehearsal, or one run, took."""

    steps_us: Mapping[int, int]
    """For each node that is no barrier."""
    meetings_us: Mapping[int, int]
    """For each barrier, from the last to come until all are released."""
    begin_us: int
    """When the first step began."""
    end_us: int
    ways_us: Mapping[tuple[int, int], int] = field(default_factory=dict)
    """For a step of the lane and the one done next, how long the second took."""

    @property
    def cycle_us(self) -> int:
        """How long it took from the first step to the end."""
        return self.end_us - self.begin_us

    def after_us(self, one: int, then: int) -> int:
        """Return how long a step takes after another; as short as ever if that was never seen."""
        return self.ways_us.get((one, then), self.steps_us[then])


def measure(plan: Plan, timeline: Timeline) -> Measured:
    """Return what a run took; a step that was tried again counts with its last try."""
    steps_us = {
        index: 0 for index, node in enumerate(plan.nodes) if node.kind is not NodeKind.BARRIER
    }
    begins_us: list[int] = []
    came_us: dict[int, int] = {}
    left_us: dict[int, int] = {}
    for one in timeline.intervals:
        if one.kind == "work":
            steps_us[one.node] = one.end_us - one.begin_us
            begins_us.append(one.begin_us)
        elif one.kind == "wait" and plan.nodes[one.node].kind is NodeKind.BARRIER:
            barrier = plan.nodes[one.node].barrier
            came_us[barrier] = max(came_us.get(barrier, 0), one.begin_us)
            left_us[barrier] = min(left_us.get(barrier, one.end_us), one.end_us)
    meetings_us = {
        barrier: max(0, left_us.get(barrier, 0) - came_us.get(barrier, 0))
        for barrier in range(len(plan.barriers))
    }
    ways_us = {(one, then): steps_us[then] for one, then in _one_after_the_other(plan)}
    return Measured(steps_us, meetings_us, min(begins_us, default=0), timeline.end_us, ways_us)


def shortest_of(measures: Sequence[Measured]) -> Measured:
    """Return of several runs, in whatever order, the shortest time of everything.

    Args:
        measures: At least one; the first gives begin and end.
    """
    first = measures[0]
    steps_us, meetings_us = dict(first.steps_us), dict(first.meetings_us)
    ways_us = dict(first.ways_us)
    for one in measures[1:]:
        _shorten(steps_us, one.steps_us)
        _shorten(meetings_us, one.meetings_us)
        _shorten(ways_us, one.ways_us)
    return Measured(steps_us, meetings_us, first.begin_us, first.end_us, ways_us)


def _shorten(known_us: dict[Key, int], other_us: Mapping[Key, int]) -> None:
    for key, time_us in other_us.items():
        known_us[key] = min(time_us, known_us.get(key, time_us))


def _one_after_the_other(plan: Plan) -> list[tuple[int, int]]:
    """Return each two steps that follow each other in a lane, barriers left out."""
    places = lay_out(plan)
    ends = (*places.starts[1:], len(places.nodes))
    pairs: list[tuple[int, int]] = []
    for begin, end in zip(places.starts, ends, strict=True):
        done = [one for one in places.nodes[begin:end] if one != NOWHERE]
        steps = [one for one in done if plan.nodes[one].kind is not NodeKind.BARRIER]
        pairs += pairwise(steps)
    return pairs
