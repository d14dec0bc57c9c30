"""Decide what torque a hydraulic wrench makes of a pressure, and what an intensifier does to it.

Units: Pa, m, m^2, N, N*m; efficiency and ratios without unit.
Invariants: BT9, a calibration table is never read beyond its ends, and reading it back returns the
input.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import isfinite, pi, sqrt

from coordinator.bolting.errors import BoltingError, require_above_zero


@dataclass(frozen=True, slots=True)
class Wrench:
    """A hydraulic wrench: piston area, lever arm from pivot to piston, mechanical efficiency."""

    piston_area_m2: float
    lever_m: float
    efficiency: float = 1.0

    def __post_init__(self) -> None:
        """Refuse what cannot be a wrench (BLT005, BLT012)."""
        require_above_zero("piston_area_m2", self.piston_area_m2)
        require_above_zero("lever_m", self.lever_m)
        if not 0.0 < self.efficiency <= 1.0:
            raise BoltingError(
                f"efficiency is {self.efficiency:g}, must be above 0 and at most 1; "
                "correct the tool's data",
                "BLT012",
            )

    @property
    def torque_nm_per_pa(self) -> float:
        """Torque for each pascal."""
        return self.piston_area_m2 * self.lever_m * self.efficiency


def wrench_torque_nm(wrench: Wrench, pressure_pa: float) -> float:
    """Return T = p A r eta."""
    require_above_zero("pressure_pa", pressure_pa)
    return pressure_pa * wrench.torque_nm_per_pa


def wrench_pressure_pa(wrench: Wrench, torque_nm: float) -> float:
    """Return the pressure for a torque, the inverse of `wrench_torque_nm`."""
    require_above_zero("torque_nm", torque_nm)
    return torque_nm / wrench.torque_nm_per_pa


@dataclass(frozen=True, slots=True)
class CalibrationTable:
    """Measured pressures and torques of one tool, both rising strictly, read by straight lines."""

    pressures_pa: tuple[float, ...]
    torques_nm: tuple[float, ...]

    def __post_init__(self) -> None:
        """Refuse a table that cannot be read both ways (BLT008)."""
        if len(self.pressures_pa) != len(self.torques_nm) or len(self.pressures_pa) < 2:
            raise BoltingError(
                f"calibration has {len(self.pressures_pa)} pressures and {len(self.torques_nm)} "
                "torques, must have as many of both and at least 2; complete the table",
                "BLT008",
            )
        for name, column in (("pressure", self.pressures_pa), ("torque", self.torques_nm)):
            if not all(isfinite(value) and value >= 0.0 for value in column):
                raise BoltingError(
                    f"calibration {name} is not finite or below zero, must be a measured value; "
                    "correct the table",
                    "BLT008",
                )
            for before, after in pairwise(column):
                if after <= before:
                    raise BoltingError(
                        f"calibration {name} is {after:g} after {before:g}, must rise; "
                        "put the rows in order or calibrate again",
                        "BLT008",
                    )

    def torque_nm(self, pressure_pa: float) -> float:
        """Return the torque at a pressure.

        Raises:
            BoltingError: BLT009, the pressure lies outside the table.
        """
        return _interpolate("pressure", pressure_pa, self.pressures_pa, self.torques_nm)

    def pressure_pa(self, torque_nm: float) -> float:
        """Return the pressure for a torque.

        Raises:
            BoltingError: BLT009, the torque lies outside the table.
        """
        return _interpolate("torque", torque_nm, self.torques_nm, self.pressures_pa)


def intensifier_ratio(large_diameter_m: float, small_diameter_m: float) -> float:
    """Return how many times an intensifier raises the pressure, (D/d)^2.

    Source:
        D. J. Dunn, fluid power tutorial, worked example 6.
    """
    require_above_zero("large_diameter_m", large_diameter_m)
    require_above_zero("small_diameter_m", small_diameter_m)
    return (large_diameter_m / small_diameter_m) ** 2


def intensifier_diameter_ratio(low_pressure_pa: float, high_pressure_pa: float) -> float:
    """Return D/d of the intensifier that makes the high pressure of the low one.

    Source:
        D. J. Dunn, fluid power tutorial, exercise 2.
    """
    require_above_zero("low_pressure_pa", low_pressure_pa)
    require_above_zero("high_pressure_pa", high_pressure_pa)
    return sqrt(high_pressure_pa / low_pressure_pa)


def piston_area_m2(diameter_m: float) -> float:
    """Return the area of a round piston."""
    require_above_zero("diameter_m", diameter_m)
    return pi / 4.0 * diameter_m**2


def piston_force_n(force_n: float, diameter_m: float, other_diameter_m: float) -> float:
    """Return the force on another piston of the same oil, F2 = F1 A2/A1.

    Source:
        OpenStax, College Physics, Pascal's principle.
    """
    require_above_zero("force_n", force_n)
    return force_n / piston_area_m2(diameter_m) * piston_area_m2(other_diameter_m)


def _interpolate(
    name: str, value: float, inputs: Sequence[float], outputs: Sequence[float]
) -> float:
    if not inputs[0] <= value <= inputs[-1]:
        raise BoltingError(
            f"{name} is {value:g}, must be from {inputs[0]:g} to {inputs[-1]:g} as calibrated; "
            "stay inside the table or calibrate further",
            "BLT009",
        )
    place = max(1, bisect_left(inputs, value))
    share = (value - inputs[place - 1]) / (inputs[place] - inputs[place - 1])
    return outputs[place - 1] + share * (outputs[place] - outputs[place - 1])
