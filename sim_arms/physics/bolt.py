"""Turn bolt load into torque and back: long form friction law, running torque, yield.

Units: metre, newton, newton metre, radian.
"""

import math
from dataclasses import dataclass

from sim_arms.physics.flange import Grip

FACE_STEP_M = 0.003175
"""What a heavy nut's bearing face is wider than its across flats, 1/8 in (API 6A, from memory)."""

_SECANT_FLANK = 1.0 / math.cos(math.radians(30.0))


@dataclass(frozen=True, slots=True)
class BoltLaw:
    """One bolt's torque law, with its own friction."""

    pitch_m: float
    pitch_diameter_m: float
    major_diameter_m: float
    across_flats_m: float
    thread_friction: float
    face_friction: float
    running_nm: float = 0.0
    """Prevailing torque that the thread takes without load."""

    @property
    def tightening_m(self) -> float:
        """Torque for each newton of load while tightening.

        Source:
            API Spec 6A, flange bolt torque annex (formula from memory, figures in the tests).
        """
        diameter, rub = self.pitch_diameter_m, self.thread_friction * _SECANT_FLANK
        up = self.pitch_m + math.pi * rub * diameter
        return diameter * up / (2.0 * (math.pi * diameter - self.pitch_m * rub)) + self._face_m

    @property
    def loosening_m(self) -> float:
        """Torque for each newton of load while loosening; the thread helps instead of hindering."""
        diameter, rub = self.pitch_diameter_m, self.thread_friction * _SECANT_FLANK
        down = math.pi * rub * diameter - self.pitch_m
        return diameter * down / (2.0 * (math.pi * diameter + self.pitch_m * rub)) + self._face_m

    @property
    def _face_m(self) -> float:
        width = self.across_flats_m + self.major_diameter_m + FACE_STEP_M
        return self.face_friction * width / 4.0

    def tightening_nm(self, load_n: float) -> float:
        """Return the torque at which the nut turns on."""
        return self.running_nm + self.tightening_m * load_n

    def loosening_nm(self, load_n: float) -> float:
        """Return the torque at which the nut turns back, without any sticking."""
        return self.running_nm + max(0.0, self.loosening_m) * load_n

    def load_n(self, torque_nm: float) -> float:
        """Return the load at which this torque turns the nut on."""
        return max(0.0, torque_nm - self.running_nm) / self.tightening_m


@dataclass(frozen=True, slots=True)
class TurningLine:
    """Torque of one nut over its own angle: level up to `slack_rad`, then sloped, then bound."""

    begin_nm: float
    static_nm: float
    """Torque that sets it turning."""
    slope_nm_rad: float
    """Above zero while tightening, below while loosening."""
    slack_rad: float = 0.0
    bound_nm: float = math.inf
    """Yield while tightening; while loosening the running torque, below which it cannot fall."""

    def torque_nm(self, angle_rad: float) -> float:
        """Return the torque of the turning nut."""
        torque = self.begin_nm + self.slope_nm_rad * max(0.0, angle_rad - self.slack_rad)
        return min(torque, self.bound_nm) if self.slope_nm_rad > 0.0 else max(torque, self.bound_nm)

    def angle_rad(self, torque_nm: float) -> float:
        """Return the angle at which a rising line comes to a torque; zero where it is beyond."""
        if self.slope_nm_rad <= 0.0:
            return 0.0
        return max(0.0, self.slack_rad + (torque_nm - self.begin_nm) / self.slope_nm_rad)

    def turned_rad(self, drive_rad: float, windup_nm_rad: float) -> float:
        """Return the nut's angle for a drive's angle, the tool giving way in between."""
        level = drive_rad - self.begin_nm / windup_nm_rad
        if level <= self.slack_rad:
            return max(0.0, level)
        sloped = (level - self.slack_rad) / (1.0 + self.slope_nm_rad / windup_nm_rad)
        angle = self.slack_rad + sloped
        bound = self.torque_nm(angle) == self.bound_nm
        return drive_rad - self.bound_nm / windup_nm_rad if bound else angle


def tightening_line(
    law: BoltLaw, grip: Grip, advance_m: float, *, load_n_yield: float, static_ratio: float
) -> TurningLine:
    """Return the line of a nut turned on from where it stands; perfectly plastic at yield."""
    begin_nm = law.tightening_nm(min(grip.load_n(advance_m), load_n_yield))
    turn_m = law.pitch_m / (2.0 * math.pi)
    return TurningLine(
        begin_nm,
        begin_nm * static_ratio,
        law.tightening_m * grip.stiffness_n_m * turn_m,
        max(0.0, grip.contact_m - advance_m) / turn_m,
        law.tightening_nm(load_n_yield),
    )


def loosening_line(
    law: BoltLaw, grip: Grip, advance_m: float, *, static_ratio: float
) -> TurningLine:
    """Return the line of a nut turned back; the torque falls to the running torque and stays."""
    begin_nm = law.loosening_nm(grip.load_n(advance_m))
    turn_m = law.pitch_m / (2.0 * math.pi)
    slope = -max(0.0, law.loosening_m) * grip.stiffness_n_m * turn_m
    return TurningLine(begin_nm, begin_nm * static_ratio, slope, 0.0, law.running_nm)
