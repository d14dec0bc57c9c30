"""Where the arms may stand, how long they take between places, and how near they come.

The joint's axis is the origin, the deck z = 0. The first side stands at negative x. Bolts are
numbered clockwise seen from above and turned so that each side has its own bolts before it.

Units: metre, second, radian.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from sim_arms.physics.arm_chain import Angles, ArmChain, Point
from sim_arms.physics.volumes import lines_apart_m

SPEED_M_S = 0.3  # Chosen: a heavy arm at reduced speed.
ACCELERATION_M_S2 = 0.3  # Chosen.
TRAVEL_HEIGHT_M = 1.6  # Chosen: above every tool, bolt and rack.
GATE_M = 0.25  # Chosen: beyond the bolt circle, where ways meet that lead around the pipe.
STANDOFF_M = 1.4  # Chosen: from the bolt circle to an arm's own place.


def move_s(distance_m: float) -> float:
    """Return how long a move takes at trapezoidal speed, triangular when it is short."""
    ramp = SPEED_M_S * SPEED_M_S / ACCELERATION_M_S2
    if distance_m >= ramp:
        return distance_m / SPEED_M_S + SPEED_M_S / ACCELERATION_M_S2
    return 2.0 * math.sqrt(max(0.0, distance_m) / ACCELERATION_M_S2)


def moved_m(distance_m: float, time_s: float) -> float:
    """Return how far such a move has come after a time."""
    whole_s = move_s(distance_m)
    if time_s >= whole_s:
        return distance_m
    ramp_s = min(SPEED_M_S / ACCELERATION_M_S2, 0.5 * whole_s)
    if time_s <= ramp_s:
        return 0.5 * ACCELERATION_M_S2 * time_s * time_s
    if time_s <= whole_s - ramp_s:
        return ACCELERATION_M_S2 * ramp_s * (time_s - 0.5 * ramp_s)
    return distance_m - 0.5 * ACCELERATION_M_S2 * (whole_s - time_s) ** 2


@dataclass(frozen=True, slots=True)
class Leg:
    """A straight part of a way, or a part of that, driven at trapezoidal speed."""

    start: Point
    end: Point
    knots: tuple[Angles, ...]
    """Angles at even distances; between them every joint turns evenly."""
    slower: float = 1.0
    """How many times slower than usual, since a joint or the arm asks for it."""
    begins: float = 0.0
    """Share of the line at which this part begins."""
    ends: float = 1.0

    @property
    def length_m(self) -> float:
        """How far the tool goes."""
        return math.dist(self.start, self.end) * (self.ends - self.begins)

    @property
    def duration_s(self) -> float:
        """How long it takes."""
        return move_s(self.length_m) * self.slower

    def share(self, time_s: float) -> float:
        """Return the share of the whole line at which the tool is after a time."""
        if self.length_m < 1e-12:
            return self.ends
        gone = moved_m(self.length_m, time_s / self.slower) / self.length_m
        return self.begins + gone * (self.ends - self.begins)

    def angles(self, share: float) -> Angles:
        """Return the angles at a share of the whole line."""
        at = share * (len(self.knots) - 1)
        index = min(int(at), len(self.knots) - 2)
        before, after = self.knots[index], self.knots[index + 1]
        # Any: mypy does not count the angles of a generator.
        turned: Any = (a + (at - index) * (b - a) for a, b in zip(before, after, strict=True))
        return tuple(turned)

    def back(self) -> "Leg":
        """Return the same part the other way."""
        return replace(
            self,
            start=self.end,
            end=self.start,
            knots=self.knots[::-1],
            begins=1.0 - self.ends,
            ends=1.0 - self.begins,
        )


@dataclass(frozen=True, slots=True)
class Way:
    """From one place to another: up to travel height, across, and down again."""

    chain: ArmChain
    legs: tuple[Leg, ...]
    slower: float = 1.0

    @classmethod
    def between(
        cls, chain: ArmChain, layout: "Layout", start: Point, end: Point, factor: float = 1.0
    ) -> "Way":
        """Return the way of an arm's tool.

        Args:
            chain: The arm; its joints may slow a leg down.
            layout: Where the pipe is, which a way leads around and not through.
            start: Where the tool is.
            end: Where it shall be.
            factor: How many times slower than usual the arm moves.

        Raises:
            OutOfReachError: part of the way is out of the arm's reach.
        """
        corners = [start, end]
        if math.hypot(end[0] - start[0], end[1] - start[1]) >= 1e-9:
            height_m = max(TRAVEL_HEIGHT_M, start[2])
            over = [(start[0], start[1], height_m), (end[0], end[1], height_m)]
            if layout.is_crossed(start, end):
                over[1:1] = layout.around_pipe(start, end, height_m, chain.base_x_m)
            corners = [start, *over, end]
        return cls(
            chain,
            tuple(
                Leg(
                    first,
                    second,
                    chain.knots(first, second),
                    factor * chain.slower(first, second, SPEED_M_S),
                )
                for first, second in pairwise(corners)
            ),
            factor,
        )

    @property
    def key(self) -> tuple[Point, ...]:
        """Return its corners, alike for the way there and the way back; of a part, its ends too."""
        first, last = self.legs[0], self.legs[-1]
        middle = tuple(leg.end for leg in self.legs[:-1])
        corners = (self._tip(first, first.begins), *middle, self._tip(last, last.ends))
        return min(corners, corners[::-1])

    @property
    def duration_s(self) -> float:
        """How long it takes."""
        return sum(leg.duration_s for leg in self.legs)

    def angles(self, time_s: float) -> Angles:
        """Return the joint angles after a time, those at the end for ever after."""
        index, share = self.spot(time_s)
        return self.legs[index].angles(share)

    def point(self, time_s: float) -> Point:
        """Return where the tool is after a time, at the end for ever after."""
        return self.point_at(*self.spot(time_s))

    def point_at(self, index: int, share: float) -> Point:
        """Return where the tool is at a share of one of the legs."""
        return self._tip(self.legs[index], share)

    def spot(self, time_s: float) -> tuple[int, float]:
        """Return on which leg the tool is after a time, and at which share of its line."""
        for index, leg in enumerate(self.legs):
            if time_s <= leg.duration_s:
                return index, leg.share(time_s)
            time_s -= leg.duration_s
        return len(self.legs) - 1, self.legs[-1].ends

    def onward(self, index: int, share: float, factor: float) -> "Way":
        """Return what is left from a spot on; an arm that was held goes on along it."""
        left = (replace(self.legs[index], begins=share), *self.legs[index + 1 :])
        return self._at_pace(left, factor)

    def back(self, index: int, share: float, factor: float) -> "Way":
        """Return the way back from a spot to the begin, which an arm that was held may go."""
        gone = (*self.legs[:index], replace(self.legs[index], ends=share))
        return self._at_pace(tuple(one.back() for one in reversed(gone)), factor)

    def _at_pace(self, legs: tuple[Leg, ...], factor: float) -> "Way":
        pace = factor / self.slower
        return Way(self.chain, tuple(replace(a, slower=a.slower * pace) for a in legs), factor)

    def _tip(self, leg: Leg, share: float) -> Point:
        ends = {0.0: leg.start, 1.0: leg.end}
        if share in ends:
            return ends[share]
        tip: Point = self.chain.links(leg.angles(share))[4]
        return tip


def _out_to(far_m: float, point: Point, height_m: float) -> Point:
    """Return a point moved straight away from the axis to a distance, if it is nearer."""
    scale = max(1.0, far_m / math.hypot(point[0], point[1]))
    return point[0] * scale, point[1] * scale, height_m


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

    def is_crossed(self, start: Point, end: Point) -> bool:
        """Whether a straight way leads nearer to the axis than one between neighbouring bolts.

        A way that begins or ends within the bore is meant to be there.
        """
        keep_m = self.bolt_circle_radius_m * math.cos(math.pi / len(self.bolt_angles_rad)) - 1e-3
        if min(math.hypot(*start[:2]), math.hypot(*end[:2])) < keep_m:
            return False
        flat = ((start[0], start[1], 0.0), (end[0], end[1], 0.0))
        axis = (0.0, 0.0, 0.0)
        return lines_apart_m(*flat, axis, axis) < keep_m

    def around_pipe(
        self, start: Point, end: Point, height_m: float, side_x_m: float
    ) -> list[Point]:
        """Return corners of a way around: out from the bolts, past the own side, and in again."""
        far_m = self.bolt_circle_radius_m + GATE_M
        outs = [_out_to(far_m, point, height_m) for point in (start, end)]
        if self.is_crossed(*outs):
            outs.insert(1, (math.copysign(far_m, side_x_m), 0.0, height_m))
        return outs

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
