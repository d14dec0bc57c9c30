"""Read torque and pressure of a hydraulic wrench from its calibration table.

Units: Pa, N*m.
Invariants: BT9, a calibration table is never read beyond its ends, and reading it back returns the
input.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import isfinite

from coordinator.bolting.errors import BoltingError


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
