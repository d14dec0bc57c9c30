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
class Snug:
    """How far a nut turns, beyond where it touches, until its faces lie flat on each other.

    Rough faces that stand a little askew come to bear bit by bit, so the stiffness grows in
    proportion from nought to that of the flat joint. Pressed flat they spring back alike.

    Source:
        The alignment or snugging zone of torque over angle: J. H. Bickford, Introduction to the
        Design and Behavior of Bolted Joints, 4th ed. 2008 (from memory); shape and width chosen.
    """

    wide: float
    """Of the zone, in metres of travel or in radians of the nut; nought for flat faces."""

    def pressed(self, turned: float) -> float:
        """Return what stretches the bolt of what a nut was turned beyond touch; gaps stay gaps."""
        if turned >= self.wide:
            return turned - 0.5 * self.wide
        return 0.5 * turned * turned / self.wide if turned > 0.0 else turned

    def turned(self, pressed: float) -> float:
        """Return how far a nut was turned beyond touch, the inverse of `pressed`."""
        if pressed >= 0.5 * self.wide:
            return pressed + 0.5 * self.wide
        return math.sqrt(2.0 * self.wide * pressed) if pressed > 0.0 else pressed


SNUG = Snug(70.0e-6)
"""Of faces as they leave the lathe; chosen, some 8 degrees of a 2 in stud."""


@dataclass(frozen=True, slots=True)
class TurningLine:
    """Torque of one nut over its own angle: level with slack, curved while snug, then straight."""

    rest_nm: float
    """Torque of the nut without load."""
    static_nm: float
    """Torque that sets it turning."""
    slope_nm_rad: float
    """Of the straight part; above zero while tightening, below while loosening."""
    taken_rad: float = 0.0
    """How far beyond touch the nut stands at angle nought; below nought it has slack."""
    snug: Snug = Snug(0.0)
    """In radians of the nut."""
    bound_nm: float = math.inf
    """Torque at yield."""

    @property
    def slack_rad(self) -> float:
        """Angle at which the nut touches, nought where it does already."""
        return max(0.0, -self.taken_rad)

    def torque_nm(self, angle_rad: float) -> float:
        """Return the torque of the turning nut."""
        way = math.copysign(angle_rad, self.slope_nm_rad)
        pressed = max(0.0, self.snug.pressed(self.taken_rad + way))
        return min(self.rest_nm + abs(self.slope_nm_rad) * pressed, self.bound_nm)

    def angle_rad(self, torque_nm: float) -> float:
        """Return the angle at which a rising line comes to a torque; zero where it is beyond."""
        if self.slope_nm_rad <= 0.0:
            return 0.0
        pressed = (torque_nm - self.rest_nm) / self.slope_nm_rad
        return max(0.0, self.snug.turned(max(0.0, pressed)) - self.taken_rad)

    def turned_rad(self, drive_rad: float, windup_nm_rad: float) -> float:
        """Return the nut's angle for a drive's angle, the tool giving way in between."""
        sign = math.copysign(1.0, self.slope_nm_rad)
        # Seen from touch: what the drive has turned, less what the torque without load winds up.
        drive = self.taken_rad + sign * (drive_rad - self.rest_nm / windup_nm_rad)
        share, wide = self.slope_nm_rad / windup_nm_rad, self.snug.wide
        if drive <= 0.0:
            turned = drive
        elif drive >= wide * (1.0 + 0.5 * share):
            turned = (drive + 0.5 * share * wide) / (1.0 + share)
        else:
            turned = 2.0 * drive / (1.0 + math.sqrt(1.0 + 2.0 * share * drive / wide))
        angle = max(0.0, sign * (turned - self.taken_rad))
        is_bound = self.torque_nm(angle) == self.bound_nm
        return drive_rad - self.bound_nm / windup_nm_rad if is_bound else angle


def tightening_line(
    law: BoltLaw, grip: Grip, advance_m: float, *, load_n_yield: float, static_ratio: float
) -> TurningLine:
    """Return the line of a nut turned on from where it stands; perfectly plastic at yield."""
    begin_nm = law.tightening_nm(min(grip.load_n(advance_m), load_n_yield))
    turn_m = law.pitch_m / (2.0 * math.pi)
    return TurningLine(
        law.running_nm,
        begin_nm * static_ratio,
        law.tightening_m * grip.stiffness_n_m * turn_m,
        SNUG.turned(advance_m - grip.contact_m) / turn_m,
        Snug(SNUG.wide / turn_m),
        law.tightening_nm(load_n_yield),
    )


def loosening_line(
    law: BoltLaw, grip: Grip, advance_m: float, *, static_ratio: float
) -> TurningLine:
    """Return the line of a nut turned back; the torque falls to the running torque and stays."""
    begin_nm = law.loosening_nm(grip.load_n(advance_m))
    turn_m = law.pitch_m / (2.0 * math.pi)
    return TurningLine(
        law.running_nm,
        begin_nm * static_ratio,
        -max(0.0, law.loosening_m) * grip.stiffness_n_m * turn_m,
        SNUG.turned(advance_m - grip.contact_m) / turn_m,
        Snug(SNUG.wide / turn_m),
    )


def advance_turned_m(grip: Grip, advance_m: float, by_m: float) -> float:
    """Return the advance of a nut whose thread was turned on by a travel, or back below nought.

    The advance is what stretches bolt and joint; of the first travel the faces take some.
    """
    turned_m = SNUG.turned(advance_m - grip.contact_m) + by_m
    return grip.contact_m + SNUG.pressed(turned_m)
