"""How near volumes come: rods with round ends, each a line and a radius.

A distance may come out too short by rounding, never too long by more.

Units: metre.
"""

import math
from dataclasses import dataclass

from sim_arms.physics.arm_chain import Point


@dataclass(frozen=True, slots=True)
class Rod:
    """All points within a radius of a line between two points."""

    name: str
    start: Point
    end: Point
    radius_m: float
    middle: Point
    reach_m: float
    """From the middle to the furthest point."""

    @classmethod
    def between(cls, name: str, start: Point, end: Point, radius_m: float) -> "Rod":
        """Return the rod around the line between two points."""
        middle = (
            0.5 * (start[0] + end[0]),
            0.5 * (start[1] + end[1]),
            0.5 * (start[2] + end[2]),
        )
        return cls(name, start, end, radius_m, middle, 0.5 * math.dist(start, end) + radius_m)


def rods_gap_m(first: Rod, second: Rod) -> float:
    """Return the gap between two rods, below nought where they overlap."""
    apart_m = lines_apart_m(first.start, first.end, second.start, second.end)
    return apart_m - first.radius_m - second.radius_m


def gap_at_least_m(first: Rod, second: Rod) -> float:
    """Return a cheap lower bound of the gap: that of the balls around both rods."""
    return math.dist(first.middle, second.middle) - first.reach_m - second.reach_m


def lines_apart_m(first: Point, first_end: Point, second: Point, second_end: Point) -> float:
    """Return the distance of two lines with ends.

    Source:
        C. Ericson, Real-Time Collision Detection, 2005, section 5.1.9 (from memory).
    """
    along_1 = _minus(first_end, first)
    along_2 = _minus(second_end, second)
    between = _minus(first, second)
    size_1, size_2 = _dot(along_1, along_1), _dot(along_2, along_2)
    on_2 = _dot(along_2, between)
    if size_1 < 1e-18:
        share_1, share_2 = 0.0, _clamped(on_2 / size_2) if size_2 > 1e-18 else 0.0
    elif size_2 < 1e-18:
        share_1, share_2 = _clamped(-_dot(along_1, between) / size_1), 0.0
    else:
        on_1, cross = _dot(along_1, between), _dot(along_1, along_2)
        skew = size_1 * size_2 - cross * cross
        share_1 = _clamped((cross * on_2 - on_1 * size_2) / skew) if skew > 1e-15 else 0.0
        share_2 = (cross * share_1 + on_2) / size_2
        if share_2 < 0.0:
            share_1, share_2 = _clamped(-on_1 / size_1), 0.0
        elif share_2 > 1.0:
            share_1, share_2 = _clamped((cross - on_1) / size_1), 1.0
    gap = (
        between[0] + along_1[0] * share_1 - along_2[0] * share_2,
        between[1] + along_1[1] * share_1 - along_2[1] * share_2,
        between[2] + along_1[2] * share_1 - along_2[2] * share_2,
    )
    return math.sqrt(_dot(gap, gap))


def _minus(first: Point, second: Point) -> Point:
    return first[0] - second[0], first[1] - second[1], first[2] - second[2]


def _dot(first: Point, second: Point) -> float:
    return first[0] * second[0] + first[1] * second[1] + first[2] * second[2]


def _clamped(share: float) -> float:
    return min(1.0, max(0.0, share))
