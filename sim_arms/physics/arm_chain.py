"""The six joints of an arm: from a tool point to the joint angles and back to where each link is.

Yaw at the base, pitch at shoulder and elbow, then roll, pitch and roll at the wrist. The tool
always hangs straight down, so roll 4 stays at nought and pitch 5 undoes shoulder and elbow. Its
holder is cranked: the wrist stands further out than the tool, clear of the pipe.

A point that no joint angles within the limits lead to is refused.

Units: metre, second, radian.
Invariants: PH2, a link keeps its length in every pose.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from types import ModuleType
from typing import Any

Point = tuple[float, float, float]
Angles = tuple[float, float, float, float, float, float]

SHOULDER_M = 1.2  # Height of the shoulder over the deck; all sizes of the arm are chosen.
UPPER_M = 1.7
FORE_M = 1.6
TOOL_M = 0.75
"""From the middle of the wrist down to the tool point."""
CRANK_M = 0.15
"""From the middle of the wrist inward to the tool's axis."""
BASE_M = 2.3
"""From the bolt circle to the arm's own axis."""
LIMITS_RAD: tuple[tuple[float, float], ...] = tuple(
    (math.radians(low), math.radians(high))
    for low, high in ((-120, 120), (-30, 130), (-150, -5), (-180, 180), (-120, 120), (-270, 270))
)
"""Lowest and highest angle of each joint."""
SPEED_RAD_S = (0.8, 0.8, 1.0, 1.5, 1.5, 2.0)
"""Highest speed of each joint."""
KNOT_M = 0.05
"""Chosen: between knots so near no tool strays a millimetre from the straight line (tested)."""


class OutOfReachError(Exception):
    """The arm cannot bring its tool to a point."""


@dataclass(frozen=True, slots=True)
class ArmChain:
    """One arm, standing at its base and facing the joint."""

    base_x_m: float
    facing_rad: float
    """Direction of the joint's axis seen from the base."""

    @classmethod
    def beside(cls, bolt_circle_radius_m: float, sign: float) -> "ArmChain":
        """Put an arm beside a joint, at negative x where `sign` is below nought."""
        facing = 0.0 if sign < 0.0 else math.pi
        return cls(math.copysign(bolt_circle_radius_m + BASE_M, sign), facing)

    def angles(self, tool: Point) -> Angles:
        """Return the joint angles that bring the tool to a point, hanging down, elbow up.

        Raises:
            OutOfReachError: the point is too far, too near, or beyond a joint's limit.
        """
        away_x = tool[0] - CRANK_M * math.cos(self.facing_rad) - self.base_x_m
        away_y = tool[1]
        out_m, up_m = math.hypot(away_x, away_y), tool[2] + TOOL_M - SHOULDER_M
        span_m = math.hypot(out_m, up_m)
        if not abs(UPPER_M - FORE_M) < span_m < UPPER_M + FORE_M:
            raise OutOfReachError(
                f"the wrist would be {span_m:.2f} m from the shoulder, must be below "
                f"{UPPER_M + FORE_M:.2f} m"
            )
        yaw = _wrapped(math.atan2(away_y, away_x) - self.facing_rad)
        bend = (UPPER_M**2 + span_m**2 - FORE_M**2) / (2.0 * UPPER_M * span_m)
        shoulder = math.atan2(up_m, out_m) + math.acos(max(-1.0, min(1.0, bend)))
        fold = (UPPER_M**2 + FORE_M**2 - span_m**2) / (2.0 * UPPER_M * FORE_M)
        elbow = math.acos(max(-1.0, min(1.0, fold))) - math.pi
        # The forearm points at shoulder + elbow; the wrist turns the tool from there to straight
        # down. The last roll keeps the crank and the reaction arm's side towards the joint.
        found = (yaw, shoulder, elbow, 0.0, -math.pi / 2.0 - shoulder - elbow, -yaw)
        for number, (angle, (low, high)) in enumerate(zip(found, LIMITS_RAD, strict=True), 1):
            if not low <= angle <= high:
                raise OutOfReachError(
                    f"joint {number} would be at {math.degrees(angle):.0f} degrees, must be from "
                    f"{math.degrees(low):.0f} to {math.degrees(high):.0f}"
                )
        return found

    # Any: an angle and a coordinate are floats, or arrays of one length of numpy.
    def links(self, angles: Any, of: ModuleType = math) -> tuple[Any, Any, Any, Any, Any]:
        """Return base, shoulder, elbow, wrist and tool point of a pose, or of many at once.

        Args:
            angles: Six angles; with numpy six arrays of equal shape.
            of: Whose sine and cosine: math, or numpy for arrays.

        Returns:
            Points of three coordinates each, in the kind of the angles.
        """
        yaw = self.facing_rad + angles[0]
        cosine, sine = of.cos(yaw), of.sin(yaw)

        def out(distance_m: Any, height_m: Any) -> Any:
            return self.base_x_m + distance_m * cosine, distance_m * sine, height_m

        lift, fore = angles[1], angles[1] + angles[2]
        tip = fore + angles[4]
        elbow_m, elbow_up_m = UPPER_M * of.cos(lift), SHOULDER_M + UPPER_M * of.sin(lift)
        wrist_m = elbow_m + FORE_M * of.cos(fore)
        wrist_up_m = elbow_up_m + FORE_M * of.sin(fore)
        under = out(wrist_m + TOOL_M * of.cos(tip), wrist_up_m + TOOL_M * of.sin(tip))
        heading = yaw + angles[5]
        return (
            out(0.0, 0.0),
            out(0.0, SHOULDER_M),
            out(elbow_m, elbow_up_m),
            out(wrist_m, wrist_up_m),
            (
                under[0] + CRANK_M * of.cos(heading),
                under[1] + CRANK_M * of.sin(heading),
                under[2],
            ),
        )

    @lru_cache(maxsize=4096)  # noqa: B019 (arms are few, and alike in every run)
    def knots(self, start: Point, end: Point) -> tuple[Angles, ...]:
        """Return the angles at the knots of a leg, between which every joint turns evenly.

        The path of an arm is what is defined here: straight between knots in the space of the
        joints, so that what it can sweep is known without asking how its control interpolates.

        Args:
            start: Where the tool is.
            end: Where it shall be.

        Returns:
            Angles at points of the straight line that are at most `KNOT_M` apart.

        Raises:
            OutOfReachError: part of the line is out of reach.
        """
        parts = max(1, math.ceil(math.dist(start, end) / KNOT_M))
        return tuple(self.angles(along(start, end, part / parts)) for part in range(parts + 1))

    @lru_cache(maxsize=4096)  # noqa: B019 (as above)
    def slower(self, start: Point, end: Point, speed_m_s: float) -> float:
        """Return how many times slower than `speed_m_s` a leg must be driven, from 1.

        Raises:
            OutOfReachError: part of the line is out of reach.
        """
        knots, worst = self.knots(start, end), 1.0
        time_s = math.dist(start, end) / (len(knots) - 1) / speed_m_s
        if time_s < 1e-9:
            return 1.0
        for before, after in pairwise(knots):
            for old, new, most in zip(before, after, SPEED_RAD_S, strict=True):
                worst = max(worst, abs(new - old) / time_s / most)
        return worst


def along(start: Point, end: Point, share: float) -> Point:
    """Return the point at a share of a straight line."""
    return (
        start[0] + share * (end[0] - start[0]),
        start[1] + share * (end[1] - start[1]),
        start[2] + share * (end[2] - start[2]),
    )


def _wrapped(angle_rad: float) -> float:
    return (angle_rad + math.pi) % (2.0 * math.pi) - math.pi
