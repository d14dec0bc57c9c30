"""Decide the torque that raises or lowers a load on a power screw, with its collar.

Units: N, N*m, m, rad.
Invariants: raising never takes less torque than the frictionless screw; its efficiency is at most
1.
"""

from dataclasses import dataclass
from math import cos, pi

from coordinator.bolting.errors import BoltingError, require_above_zero, require_friction


@dataclass(frozen=True, slots=True)
class PowerScrew:
    """A screw that moves a load, with its collar; no collar is a diameter of zero."""

    mean_diameter_m: float
    lead_m: float
    thread_friction: float
    collar_friction: float = 0.0
    collar_diameter_m: float = 0.0
    half_angle_rad: float = 0.0
    """Zero for a square thread, 14.5 degrees for Acme."""

    def __post_init__(self) -> None:
        """Refuse what cannot be a screw (BLT005, BLT006)."""
        require_above_zero("mean_diameter_m", self.mean_diameter_m)
        require_above_zero("lead_m", self.lead_m)
        require_friction("friction in the thread", self.thread_friction)
        require_friction("friction in the collar", self.collar_friction)
        if self.collar_diameter_m != 0.0:
            require_above_zero("collar_diameter_m", self.collar_diameter_m)
        if not 0.0 <= self.half_angle_rad < pi / 4.0:
            raise BoltingError(
                f"half_angle_rad is {self.half_angle_rad:g}, must be from 0 to below pi/4; "
                "correct the thread form",
                "BLT012",
            )
        if self.wedged_friction * self.lead_m >= pi * self.mean_diameter_m:
            raise BoltingError(
                f"friction in the thread is {self.thread_friction:g}, must leave a lead of "
                f"{self.lead_m:g} m able to rise; lower the friction or the lead",
                "BLT006",
            )

    @property
    def wedged_friction(self) -> float:
        """Coefficient in the thread, raised by its inclined flank."""
        return self.thread_friction / cos(self.half_angle_rad)

    @property
    def is_self_locking(self) -> bool:
        """Whether the load stays without torque, by the thread alone."""
        return self.wedged_friction * pi * self.mean_diameter_m > self.lead_m


def square_screw(
    major_diameter_m: float,
    pitch_m: float,
    starts: int,
    thread_friction: float,
    *,
    collar_friction: float = 0.0,
    collar_diameter_m: float = 0.0,
) -> PowerScrew:
    """Return a square screw: mean diameter d - p/2, lead = starts times pitch.

    Raises:
        BoltingError: BLT005 or BLT006, a quantity is out of range.

    Source:
        Shigley, 9th ed., section 8-1 and fig. 8-3.
    """
    require_above_zero("starts", starts)
    return PowerScrew(
        major_diameter_m - pitch_m / 2.0,
        starts * pitch_m,
        thread_friction,
        collar_friction,
        collar_diameter_m,
    )


def raising_torque_nm(screw: PowerScrew, load_n: float) -> float:
    """Return F dm/2 (l + pi f dm S)/(pi dm - f l S) + F fc dc/2.

    Source:
        Shigley, 9th ed., eq. 8-5 and 8-6.
    """
    require_above_zero("load_n", load_n)
    around_m = pi * screw.mean_diameter_m
    slope = (screw.lead_m + screw.wedged_friction * around_m) / (
        around_m - screw.wedged_friction * screw.lead_m
    )
    return load_n * (screw.mean_diameter_m / 2.0 * slope + _collar_lever_m(screw))


def lowering_torque_nm(screw: PowerScrew, load_n: float) -> float:
    """Return F dm/2 (pi f dm S - l)/(pi dm + f l S) + F fc dc/2; below zero it runs down.

    Source:
        Shigley, 9th ed., eq. 8-2 with the secant of eq. 8-5, and eq. 8-6.
    """
    require_above_zero("load_n", load_n)
    around_m = pi * screw.mean_diameter_m
    slope = (screw.wedged_friction * around_m - screw.lead_m) / (
        around_m + screw.wedged_friction * screw.lead_m
    )
    return load_n * (screw.mean_diameter_m / 2.0 * slope + _collar_lever_m(screw))


def raising_efficiency(screw: PowerScrew) -> float:
    """Return the share of the work that lifts, e = F l / (2 pi T).

    Source:
        Shigley, 9th ed., eq. 8-4.
    """
    return screw.lead_m / (2.0 * pi * raising_torque_nm(screw, 1.0))


def _collar_lever_m(screw: PowerScrew) -> float:
    return screw.collar_friction * screw.collar_diameter_m / 2.0
