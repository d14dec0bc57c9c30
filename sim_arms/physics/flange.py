"""Share the load of a bolted flange among its bolts: rigid plate, elastic ring, bolts as springs.

Each nut has an advance: how far it was turned down from where it would just touch the open joint.
A bolt pulls with its stiffness times what the plate did not follow; it cannot push. The ring lies
at the bolt circle and resists closing and tilting. Loads follow from the advances alone, so two
arms that know all advances agree on all loads.

Units: metre, newton, newton per metre, radian.
Keeps: no load is below zero; the active set changes a bounded number of times.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

FREE_ADVANCE_M = -1.0
"""Advance of a nut that is not there or touches nothing: further off than any flange closes."""

_Vector = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class FlangeState:
    """Loads of all bolts and where the plate came to rest."""

    loads_n: tuple[float, ...]
    closure_m: float
    tilt_x_rad: float
    tilt_y_rad: float


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


class FlangeModel:
    """Rigid plate on a uniform elastic ring; bolts are springs between plate and ring."""

    def __init__(
        self,
        bolt_count: int,
        bolt_circle_radius_m: float,
        bolt_stiffness_n_m: float,
        ring_stiffness_n_m: float,
    ) -> None:
        """Fix the geometry.

        Args:
            bolt_count: Bolts, evenly spaced, at least 2.
            bolt_circle_radius_m: Radius of bolt circle and ring.
            bolt_stiffness_n_m: Stiffness of one bolt.
            ring_stiffness_n_m: Stiffness of the whole ring against closing without tilt.
        """
        self.bolt_count = bolt_count
        self.radius_m = bolt_circle_radius_m
        self.bolt_n_m = bolt_stiffness_n_m
        self.ring_n_m = ring_stiffness_n_m
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
        return FlangeState(loads, closure, along_x / self.radius_m, along_y / self.radius_m)

    def grip(self, advance_m: Sequence[float], bolt_index: int) -> Grip:
        """Return the line on which one bolt's load runs while the other nuts stand.

        Args:
            advance_m: Advances of all bolts; the one asked about does not matter but for which
                others it has already taken to zero.
            bolt_index: Index of the bolt, from 0.
        """
        pulling, _ = self._balance(advance_m)
        others = [held and index != bolt_index for index, held in enumerate(pulling)]
        plate = self._plate(advance_m, others)
        arm_x, arm_y = self._arms[bolt_index]
        pushed = _solve(*self._matrix(others), (1.0, arm_x, arm_y))
        compliance = 1.0 / self.bolt_n_m + pushed[0] + pushed[1] * arm_x + pushed[2] * arm_y
        return Grip(self._follows(plate, bolt_index), 1.0 / compliance)

    def advance_for(self, advance_m: Sequence[float], bolt_index: int, load_n: float) -> float:
        """Return the advance that gives one bolt a load while the other nuts stand.

        The line bends where another bolt goes slack, so it is followed a bounded number of times.
        """
        trial = list(advance_m)
        for _ in range(self.bolt_count + 2):
            grip = self.grip(trial, bolt_index)
            wanted = grip.contact_m + load_n / grip.stiffness_n_m
            if abs(wanted - trial[bolt_index]) * grip.stiffness_n_m <= 1e-9 * load_n:
                break
            trial[bolt_index] = wanted
        return trial[bolt_index]

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
        """Find which bolts pull; switch all wrong ones at once, later only the worst one."""
        pulling = [advance > FREE_ADVANCE_M for advance in advance_m]
        plate = self._plate(advance_m, pulling)
        for turn in range(4 * self.bolt_count):
            excess = [advance - self._follows(plate, i) for i, advance in enumerate(advance_m)]
            wrong = [i for i, more in enumerate(excess) if (more > 0.0) != pulling[i]]
            wrong = [i for i in wrong if abs(excess[i]) > 1e-15]
            if not wrong:
                break
            if turn > self.bolt_count:
                wrong = [max(wrong, key=lambda i: abs(excess[i]))]
            for i in wrong:
                pulling[i] = not pulling[i]
            plate = self._plate(advance_m, pulling)
        return pulling, plate

    def _follows(self, plate: _Vector, index: int) -> float:
        """How far the plate came down at a bolt."""
        arm_x, arm_y = self._arms[index]
        return plate[0] + plate[1] * arm_x + plate[2] * arm_y

    def _plate(self, advance_m: Sequence[float], pulling: Sequence[bool]) -> _Vector:
        right = [0.0, 0.0, 0.0]
        for advance, held, (arm_x, arm_y) in zip(advance_m, pulling, self._arms, strict=True):
            if held:
                pull = self.bolt_n_m * advance
                right[0] += pull
                right[1] += pull * arm_x
                right[2] += pull * arm_y
        return _solve(*self._matrix(pulling), (right[0], right[1], right[2]))

    def _matrix(self, pulling: Sequence[bool]) -> tuple[float, float, float, float, float, float]:
        """Stiffness against closure and the two tilts; a ring resists tilt with half its own."""
        count = sum_x = sum_y = sum_xx = sum_xy = 0.0
        for held, (arm_x, arm_y) in zip(pulling, self._arms, strict=True):
            if held:
                count += 1.0
                sum_x += arm_x
                sum_y += arm_y
                sum_xx += arm_x * arm_x
                sum_xy += arm_x * arm_y
        bolt, ring = self.bolt_n_m, self.ring_n_m
        return (
            ring + bolt * count,
            bolt * sum_x,
            bolt * sum_y,
            0.5 * ring + bolt * sum_xx,
            bolt * sum_xy,
            0.5 * ring + bolt * (count - sum_xx),
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
