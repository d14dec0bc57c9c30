"""Read out of a timeline how long each step took, and how long each meeting took by itself.

Units: ``*_us`` whole microseconds.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from coordinator.core.plan import NodeKind, Plan
from coordinator.timeline.build import Timeline


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
    return Measured(steps_us, meetings_us, min(begins_us, default=0), timeline.end_us)
