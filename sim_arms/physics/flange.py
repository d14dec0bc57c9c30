"""Share the load of a bolted flange among its bolts: rigid plate, elastic ring, bolts as springs.

Each nut has an advance: how far it was turned down from where it would just touch the open joint.
A bolt pulls with its stiffness times what the plate did not follow; it cannot push. The ring lies
at the bolt circle and resists closing and tilting. Where a seating load is given it only pushes:
it lifts off where the plate has left it, and the arc that still bears is found in closed form.
Loads follow from the advances alone, so two arms that know all advances agree on all loads.

The bolts that carry are found in a bounded number of turns.

Units: metre, newton, newton per metre, radian.
Invariants: PH3, the simulated flange carries no load below zero.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

FREE_ADVANCE_M = -1.0
"""Advance of a nut that is not there or touches nothing: further off than any flange closes."""

_Vector = tuple[float, float, float]
_Matrix = tuple[float, float, float, float, float, float]
"""Upper half of a symmetric matrix of three, row by row."""
STEPS_MAX = 80
"""From the ninth on each step is halved, which ends any to and fro between two arcs."""
STILL_M = 1e-15


def switch_wrong(
    pulling: list[bool], excess: Sequence[float], least: float, *, is_worst_alone: bool
) -> bool:
    """Let bolts pull that should, and those follow freely that should not; False if none is wrong.

    Args:
        pulling: Whether each bolt pulls; changed in place.
        excess: How far, or how hard, each would pull; below zero it would follow.
        least: What is smaller counts as nothing.
        is_worst_alone: Switch only the one that is wrong by most, so that it comes to an end.
    """
    wrong = [i for i, more in enumerate(excess) if (more > 0.0) != pulling[i]]
    wrong = [i for i in wrong if abs(excess[i]) > least]
    if is_worst_alone and wrong:
        wrong = [max(wrong, key=lambda i: abs(excess[i]))]
    for i in wrong:
        pulling[i] = not pulling[i]
    return bool(wrong)


@dataclass(frozen=True, slots=True)
class FlangeState:
    """Loads of all bolts and where the plate came to rest."""

    loads_n: tuple[float, ...]
    closure_m: float
    tilt_x_rad: float
    tilt_y_rad: float
    gap_m: float = 0.0
    """How far the faces stand apart where they are furthest apart."""
    bearing_share: float = 1.0
    """Share of the ring that bears."""


@dataclass(frozen=True, slots=True)
class Grip:
    """What one nut feels while the others stand: slack first, then a straight line."""

    contact_m: float
    """Advance at which the nut begins to pull."""
    stiffness_n_m: float
    """Load gained for each metre of advance beyond contact."""

    def load_n(self, advance_m: float) -> float:
        """Return the load of the bolt at an advance."""
        return self.stiffness_n_m * max(0.0, advance_m - self.contact_m)


class Flange(Protocol):
    """What shares the load of a joint among its bolts."""

    @property
    def bolt_count(self) -> int:
        """Bolts, evenly spaced."""

    @property
    def bolt_n_m(self) -> float:
        """Stiffness of one bolt."""

    def settle(self, advance_m: Sequence[float]) -> FlangeState:
        """Return the loads at the advances of all nuts."""

    def grip(self, advance_m: Sequence[float], bolt_index: int) -> Grip:
        """Return the line on which one bolt's load runs while the other nuts stand."""

    def advances_for(self, loads_n: Sequence[float]) -> tuple[float, ...]:
        """Return the advances of all nuts that hold the given loads, each above zero, at once."""


def advance_for(
    flange: Flange, advance_m: Sequence[float], bolt_index: int, load_n: float
) -> float:
    """Return the advance that gives one bolt a load while the other nuts stand.

    The line bends where another bolt goes slack or the ring lifts off, so it is followed a
    bounded number of times.
    """
    trial = list(advance_m)
    for _ in range(flange.bolt_count + 32):
        grip = flange.grip(trial, bolt_index)
        wanted = grip.contact_m + load_n / grip.stiffness_n_m
        if abs(wanted - trial[bolt_index]) * grip.stiffness_n_m <= 1e-9 * load_n:
            break
        trial[bolt_index] = wanted
    return trial[bolt_index]


class FlangeModel:
    """Rigid plate on a uniform elastic ring; bolts are springs between plate and ring."""

    def __init__(
        self,
        bolt_count: int,
        bolt_circle_radius_m: float,
        bolt_stiffness_n_m: float,
        ring_stiffness_n_m: float,
        seating_n: float | None = None,
    ) -> None:
        """Fix the geometry.

        Args:
            bolt_count: Bolts, evenly spaced, at least 2.
            bolt_circle_radius_m: Radius of bolt circle and ring.
            bolt_stiffness_n_m: Stiffness of one bolt.
            ring_stiffness_n_m: Stiffness of the whole ring against closing without tilt.
            seating_n: What presses the faces together before any bolt does, above zero, such as
                the weight of the length; the ring then only pushes. Without it the ring holds
                both ways, as in the closed form.
        """
        self.bolt_count = bolt_count
        self.radius_m = bolt_circle_radius_m
        self.bolt_n_m = bolt_stiffness_n_m
        self.ring_n_m = ring_stiffness_n_m
        self.seated_m = math.inf if seating_n is None else seating_n / ring_stiffness_n_m
        """How far the ring is pressed by the seating load alone."""
        self._whole: _Matrix = _ring(ring_stiffness_n_m, math.pi, 1.0, 0.0)
        angles = [2.0 * math.pi * index / bolt_count for index in range(bolt_count)]
        self._arms = tuple((math.cos(angle), math.sin(angle)) for angle in angles)

    def settle(self, advance_m: Sequence[float]) -> FlangeState:
        """Return the loads that balance the ring.

        Args:
            advance_m: One advance per bolt; `FREE_ADVANCE_M` where there is no nut.

        Returns:
            Loads in the order of the bolts, closure at the centre, tilt along both axes.
        """
        pulling, plate = self._balance(advance_m)
        loads = tuple(
            self.bolt_n_m * max(0.0, advance - self._follows(plate, index)) if held else 0.0
            for index, (advance, held) in enumerate(zip(advance_m, pulling, strict=True))
        )
        closure, along_x, along_y = plate
        gap_m = math.hypot(along_x, along_y) - closure - self.seated_m
        return FlangeState(
            loads,
            closure,
            along_x / self.radius_m,
            along_y / self.radius_m,
            max(0.0, gap_m),
            self._arc_rad(plate) / math.pi,
        )

    def grip(self, advance_m: Sequence[float], bolt_index: int) -> Grip:
        """Return the line on which one bolt's load runs while the other nuts stand.

        Args:
            advance_m: Advances of all bolts; the one asked about does not matter but for which
                others it has already taken to zero.
            bolt_index: Index of the bolt, from 0.
        """
        pulling, settled = self._balance(advance_m)
        ring = self._ring_at(settled)
        others = [held and index != bolt_index for index, held in enumerate(pulling)]
        plate = self._plate(advance_m, others, ring)
        arm_x, arm_y = self._arms[bolt_index]
        pushed = _solve(*self._matrix(others, ring), (1.0, arm_x, arm_y))
        compliance = 1.0 / self.bolt_n_m + pushed[0] + pushed[1] * arm_x + pushed[2] * arm_y
        return Grip(self._follows(plate, bolt_index), 1.0 / compliance)

    def advances_for(self, loads_n: Sequence[float]) -> tuple[float, ...]:
        """Return the advances of all nuts that hold the given loads, each above zero, at once."""
        plate = (
            sum(loads_n) / self.ring_n_m,
            2.0 * sum(f * arm[0] for f, arm in zip(loads_n, self._arms, strict=True)),
            2.0 * sum(f * arm[1] for f, arm in zip(loads_n, self._arms, strict=True)),
        )
        plate = (plate[0], plate[1] / self.ring_n_m, plate[2] / self.ring_n_m)
        return tuple(
            load / self.bolt_n_m + self._follows(plate, index) for index, load in enumerate(loads_n)
        )

    def _balance(self, advance_m: Sequence[float]) -> tuple[list[bool], _Vector]:
        """Find which bolts pull and where the plate rests."""
        pulling, plate = self._balance_whole(advance_m)
        if self._arc_rad(plate) == math.pi:
            return pulling, plate
        for step in range(STEPS_MAX):
            excess = [advance - self._follows(plate, i) for i, advance in enumerate(advance_m)]
            pulling = [more > 0.0 for more in excess]
            wanted = self._plate(advance_m, pulling, self._ring_at(plate))
            moved_m = max(abs(new - old) for new, old in zip(wanted, plate, strict=True))
            if step >= 8:
                wanted = _between(plate, wanted)
            plate = wanted
            if moved_m <= STILL_M:
                break
        return pulling, plate

    def _balance_whole(self, advance_m: Sequence[float]) -> tuple[list[bool], _Vector]:
        """Do so with the whole ring bearing; switch all wrong at once, later only the worst."""
        pulling = [advance > FREE_ADVANCE_M for advance in advance_m]
        plate = self._plate(advance_m, pulling, self._whole)
        for turn in range(4 * self.bolt_count):
            excess = [advance - self._follows(plate, i) for i, advance in enumerate(advance_m)]
            if not switch_wrong(pulling, excess, 1e-15, is_worst_alone=turn > self.bolt_count):
                break
            plate = self._plate(advance_m, pulling, self._whole)
        return pulling, plate

    def _follows(self, plate: _Vector, index: int) -> float:
        """How far the plate came down at a bolt."""
        arm_x, arm_y = self._arms[index]
        return plate[0] + plate[1] * arm_x + plate[2] * arm_y

    def _arc_rad(self, plate: _Vector) -> float:
        """Half the angle of the arc that bears, around the direction of the tilt."""
        closed_m, tilted_m = plate[0] + self.seated_m, math.hypot(plate[1], plate[2])
        if closed_m >= tilted_m:
            return math.pi
        # A plate that has left the ring altogether is held by a sliver until it is back on it.
        return max(ARC_RAD_MIN, math.acos(max(-1.0, min(1.0, -closed_m / tilted_m))))

    def _ring_at(self, plate: _Vector) -> _Matrix:
        """Stiffness of what bears of the ring where the plate stands."""
        arc_rad, tilted_m = self._arc_rad(plate), math.hypot(plate[1], plate[2])
        if arc_rad == math.pi:
            return self._whole
        return _ring(self.ring_n_m, arc_rad, plate[1] / tilted_m, plate[2] / tilted_m)

    def _plate(self, advance_m: Sequence[float], pulling: Sequence[bool], ring: _Matrix) -> _Vector:
        right = [0.0, 0.0, 0.0]
        if ring is not self._whole:
            # The seating load, less what the bearing arc gives back where it was seated.
            seated = self.seated_m
            right = [seated * (self.ring_n_m - ring[0]), -seated * ring[1], -seated * ring[2]]
        for advance, held, (arm_x, arm_y) in zip(advance_m, pulling, self._arms, strict=True):
            if held:
                pull = self.bolt_n_m * advance
                right[0] += pull
                right[1] += pull * arm_x
                right[2] += pull * arm_y
        return _solve(*self._matrix(pulling, ring), (right[0], right[1], right[2]))

    def _matrix(self, pulling: Sequence[bool], ring: _Matrix) -> _Matrix:
        """Stiffness of ring and bolts against closure and the two tilts."""
        count = sum_x = sum_y = sum_xx = sum_xy = 0.0
        for held, (arm_x, arm_y) in zip(pulling, self._arms, strict=True):
            if held:
                count += 1.0
                sum_x += arm_x
                sum_y += arm_y
                sum_xx += arm_x * arm_x
                sum_xy += arm_x * arm_y
        bolt = self.bolt_n_m
        return (
            ring[0] + bolt * count,
            ring[1] + bolt * sum_x,
            ring[2] + bolt * sum_y,
            ring[3] + bolt * sum_xx,
            ring[4] + bolt * sum_xy,
            ring[5] + bolt * (count - sum_xx),
        )


ARC_RAD_MIN = 1e-3
"""Chosen: below a millimetre of arc on any of our rings."""


def _ring(ring_n_m: float, arc_rad: float, cosine: float, sine: float) -> _Matrix:
    """Return the stiffness of an arc of a uniform ring against closure and the two tilts.

    Integrals of 1, cos and cos squared over the arc; a whole ring resists tilt with half its own.

    Args:
        ring_n_m: Stiffness of the whole ring.
        arc_rad: Half the angle of the arc, up to pi.
        cosine: Direction of the middle of the arc.
        sine: The same.
    """
    each = ring_n_m / (2.0 * math.pi)
    if arc_rad >= math.pi:
        return ring_n_m, 0.0, 0.0, 0.5 * ring_n_m, 0.0, 0.5 * ring_n_m
    first = each * 2.0 * math.sin(arc_rad)
    double = math.sin(arc_rad) * math.cos(arc_rad)
    along, across = each * (arc_rad + double), each * (arc_rad - double)
    return (
        each * 2.0 * arc_rad,
        first * cosine,
        first * sine,
        along * cosine * cosine + across * sine * sine,
        (along - across) * cosine * sine,
        along * sine * sine + across * cosine * cosine,
    )


def _between(first: _Vector, second: _Vector) -> _Vector:
    return (
        0.5 * (first[0] + second[0]),
        0.5 * (first[1] + second[1]),
        0.5 * (first[2] + second[2]),
    )


def _solve(
    m00: float, m01: float, m02: float, m11: float, m12: float, m22: float, right: _Vector
) -> _Vector:
    """Solve a symmetric positive definite system of three by its Cholesky factors (L D L^T)."""
    factor_10, factor_20 = m01 / m00, m02 / m00
    pivot_1 = m11 - factor_10 * m01
    factor_21 = (m12 - factor_10 * m02) / pivot_1
    pivot_2 = m22 - factor_20 * m02 - factor_21 * factor_21 * pivot_1
    down_1 = right[1] - factor_10 * right[0]
    down_2 = right[2] - factor_20 * right[0] - factor_21 * down_1
    third = down_2 / pivot_2
    second = down_1 / pivot_1 - factor_21 * third
    first = right[0] / m00 - factor_10 * second - factor_20 * third
    return first, second, third
