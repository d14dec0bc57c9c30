"""Where the arms may stand, how long they take between places, and how near they come.

The joint's axis is the origin, the deck z = 0. The first side stands at negative x. Bolts are
numbered clockwise seen from above and turned so that each side has its own bolts before it.

Units: metre, second, radian.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

SPEED_M_S = 0.3  # Chosen: a heavy arm at reduced speed.
ACCELERATION_M_S2 = 0.3  # Chosen.
TRAVEL_HEIGHT_M = 1.6  # Chosen: above every tool, bolt and rack.
TOOL_RADIUS_M = 0.15  # Chosen: half the width of the wrench with its hoses.
STANDOFF_M = 1.4  # Chosen: from the bolt circle to an arm's own place.

Point = tuple[float, float, float]


def move_s(distance_m: float) -> float:
    """Return how long a move takes at trapezoidal speed, triangular when it is short."""
    ramp = SPEED_M_S * SPEED_M_S / ACCELERATION_M_S2
    if distance_m >= ramp:
        return distance_m / SPEED_M_S + SPEED_M_S / ACCELERATION_M_S2
    return 2.0 * math.sqrt(max(0.0, distance_m) / ACCELERATION_M_S2)


def travel_s(start: Point, end: Point) -> float:
    """Return the time up to travel height, across, and down again."""
    across = math.hypot(end[0] - start[0], end[1] - start[1])
    if across < 1e-9:
        return move_s(abs(end[2] - start[2]))
    up, down = TRAVEL_HEIGHT_M - start[2], TRAVEL_HEIGHT_M - end[2]
    return move_s(up) + move_s(across) + move_s(down)


def clearance_m(first: Point, second: Point) -> float:
    """Return the gap between two tools, as upright cylinders; negative when they overlap."""
    apart = math.hypot(first[0] - second[0], first[1] - second[1])
    return apart - 2.0 * TOOL_RADIUS_M


@dataclass(frozen=True, slots=True)
class Layout:
    """The places of one joint and its two sides."""

    bolt_circle_radius_m: float
    bolt_angles_rad: tuple[float, ...]
    sides: tuple[str, str]

    @classmethod
    def around(
        cls, bolt_circle_radius_m: float, sides: tuple[str, str], side_of_bolt: Sequence[str]
    ) -> "Layout":
        """Return the layout in which each side has its bolts before it."""
        count = len(side_of_bolt)
        angles = [-2.0 * math.pi * index / count for index in range(count)]
        own = [a for a, side in zip(angles, side_of_bolt, strict=True) if side == sides[0]]
        mean_x, mean_y = sum(map(math.cos, own)), sum(map(math.sin, own))
        # Sides that serve every other bolt have no middle; the numbering then stays as it is.
        turn = math.pi - math.atan2(mean_y, mean_x) if math.hypot(mean_x, mean_y) > 1e-6 else 0.0
        return cls(bolt_circle_radius_m, tuple(a + turn for a in angles), sides)

    def point(self, side: str, place: str) -> Point:
        """Return where a side's tool point stands at a place.

        Args:
            side: One of `sides`.
            place: park, rack, bin, bore, joint, or `bolt.N` with N from 1.

        Raises:
            KeyError: There is no such place.
        """
        sign = -1.0 if side == self.sides[0] else 1.0
        home = self.bolt_circle_radius_m + STANDOFF_M
        kind, _, number = place.partition(".")
        if kind == "bolt":
            angle = self.bolt_angles_rad[int(number) - 1]
            radius = self.bolt_circle_radius_m
            return radius * math.cos(angle), radius * math.sin(angle), 1.0
        return {
            "park": (sign * home, 0.0, 1.2),
            "rack": (sign * home, -0.8, 0.9),
            "bin": (sign * (home - 0.4), 0.7, 0.8),
            "bore": (0.0, 0.0, 1.1),
            # A look from above and before the own half, out of the other arm's way.
            "joint": (sign * (self.bolt_circle_radius_m + 0.25), 0.0, 1.5),
        }[kind]
