"""Decide the torque for a preload, and the preload or friction behind a torque.

Three forms, from rough to exact: the short form with one nut factor; the linear long form of
ISO 16047 and VDI 2230; the wedge long form of API Spec 6A and Shigley, which keeps the product of
friction and lead that the linear one drops.

Units: N, N*m, m; coefficients of friction without unit.
Invariants: BT7, each form of torque and preload and its inverse undo each other.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi
from types import MappingProxyType

from coordinator.bolting.constants import INCH_M
from coordinator.bolting.errors import (
    BoltingError,
    require_above_zero,
    require_friction,
)
from coordinator.bolting.threads import Thread

NUT_FACTORS: Mapping[str, float] = MappingProxyType(
    {"black": 0.30, "zinc": 0.20, "lubricated": 0.18, "cadmium": 0.16}
)
"""Nut factors K by bolt condition. Shigley, 9th ed., Table 8-15."""


@dataclass(frozen=True, slots=True)
class Friction:
    """Coefficients of friction in the thread and under the turning nut face."""

    thread: float
    bearing: float

    def __post_init__(self) -> None:
        """Refuse coefficients outside 0 to 1 (BLT006)."""
        require_friction("friction in the thread", self.thread)
        require_friction("friction under the nut", self.bearing)


def short_form_torque_nm(nut_factor: float, diameter_m: float, preload_n: float) -> float:
    """Return T = K d F.

    Source:
        Shigley, Mechanical Engineering Design, 9th ed., eq. 8-27.
    """
    require_above_zero("nut_factor", nut_factor)
    require_above_zero("diameter_m", diameter_m)
    require_above_zero("preload_n", preload_n)
    return nut_factor * diameter_m * preload_n


def nut_factor(torque_nm: float, diameter_m: float, preload_n: float) -> float:
    """Return K = T / (d F) from a measured torque and preload."""
    require_above_zero("torque_nm", torque_nm)
    require_above_zero("diameter_m", diameter_m)
    require_above_zero("preload_n", preload_n)
    return torque_nm / (diameter_m * preload_n)


def target_torque_index_nm_per_pa(nut_factor: float, diameter_m: float, area_m2: float) -> float:
    """Return the torque for each pascal of bolt stress, Ti = K d A with the root area.

    Source:
        ASME PCC-1, Appendix O, target torque index.
    """
    require_above_zero("nut_factor", nut_factor)
    require_above_zero("diameter_m", diameter_m)
    require_above_zero("area_m2", area_m2)
    return nut_factor * diameter_m * area_m2


def wedge_form_torque_nm(
    preload_n: float, thread: Thread, friction: Friction, bearing_diameter_m: float
) -> float:
    """Return the tightening torque by the inclined plane, thread and nut face added.

    T = F d2/2 (P + pi f d2 S) / (pi d2 - P f S) + F f_b D_b/2, with S the secant of half the
    thread angle and D_b the mean diameter on which the nut face rubs.

    Raises:
        BoltingError: BLT005, a quantity is not above zero.

    Source:
        API Spec 6A, annex on flange bolt torque (E is d2, S is sec 30 degrees, D_b/2 is
        (H + D + K)/4); Shigley, 9th ed., section 8-8, before eq. 8-26, with d_m = d2 and
        D_b = 1.25 d.
    """
    require_above_zero("preload_n", preload_n)
    require_above_zero("bearing_diameter_m", bearing_diameter_m)
    return preload_n * (
        _wedge_lever_m(thread, friction.thread) + friction.bearing * bearing_diameter_m / 2.0
    )


def wedge_form_preload_n(
    torque_nm: float, thread: Thread, friction: Friction, bearing_diameter_m: float
) -> float:
    """Return the preload that a torque leaves, the inverse of `wedge_form_torque_nm`."""
    require_above_zero("torque_nm", torque_nm)
    return torque_nm / wedge_form_torque_nm(1.0, thread, friction, bearing_diameter_m)


def linear_form_torque_nm(
    preload_n: float, thread: Thread, friction: Friction, bearing_diameter_m: float
) -> float:
    """Return T = F (P/(2 pi) + d2 f S/2 + f_b D_b/2).

    Source:
        ISO 16047 and VDI 2230 Part 1, R13, which round S/2 = 0.57735 to 0.577, 0.578 or 0.58;
        MIL-HDBK-60, Appendix B, the same with d2 = 0.92 d and D_b = 1.25 d.
    """
    require_above_zero("preload_n", preload_n)
    require_above_zero("bearing_diameter_m", bearing_diameter_m)
    thread_lever_m = (
        thread.pitch_m / (2.0 * pi)
        + thread.pitch_diameter_m * friction.thread * thread.flank_secant / 2.0
    )
    return preload_n * (thread_lever_m + friction.bearing * bearing_diameter_m / 2.0)


def overall_friction(
    torque_nm: float, preload_n: float, thread: Thread, bearing_diameter_m: float
) -> float:
    """Return the one coefficient, alike in thread and nut face, that explains a measurement.

    Raises:
        BoltingError: BLT010, the torque is too small even without friction, or would need more
            than a coefficient of 1.

    Source:
        ISO 16047, total coefficient of friction:
        (T/F - P/(2 pi)) / (0.577 d2 + 0.5 D_b).
    """
    require_above_zero("torque_nm", torque_nm)
    require_above_zero("preload_n", preload_n)
    require_above_zero("bearing_diameter_m", bearing_diameter_m)
    lever_m = torque_nm / preload_n - thread.pitch_m / (2.0 * pi)
    arm_m = thread.pitch_diameter_m * thread.flank_secant / 2.0 + bearing_diameter_m / 2.0
    coefficient = lever_m / arm_m
    if not 0.0 <= coefficient <= 1.0:
        raise BoltingError(
            f"torque is {torque_nm:g} N*m at a preload of {preload_n:g} N, must need a friction "
            f"from 0 to 1 (it needs {coefficient:.3g}); check both readings",
            "BLT010",
        )
    return coefficient


def loosening_torque_nm(
    preload_n: float, thread: Thread, friction: Friction, bearing_diameter_m: float
) -> float:
    """Return the torque that starts a nut backwards at a preload; below zero: it runs by itself.

    The slope now helps: F d2/2 (pi f d2 S - P) / (pi d2 + P f S) + F f_b D_b/2. Pass the
    coefficients at rest, which are above the ones of the sliding nut.

    Source:
        Shigley, 9th ed., eq. 8-2 with the secant of eq. 8-5 (lowering a load), collar eq. 8-6.
    """
    require_above_zero("preload_n", preload_n)
    require_above_zero("bearing_diameter_m", bearing_diameter_m)
    around_m = pi * thread.pitch_diameter_m
    rub = friction.thread * thread.flank_secant
    slope = (rub * around_m - thread.pitch_m) / (around_m + rub * thread.pitch_m)
    return preload_n * (
        thread.pitch_diameter_m / 2.0 * slope + friction.bearing * bearing_diameter_m / 2.0
    )


def oilfield_bearing_diameter_m(diameter_m: float) -> float:
    """Return the mean rubbing diameter of an oilfield stud nut, (H + D + K)/2.

    H = 1.5 D + 0.125 in is the hex across flats, K = 0.125 in the chamfer inside the nut face.

    Source:
        API Spec 6A, annex on flange bolt torque.
    """
    require_above_zero("diameter_m", diameter_m)
    chamfer_m = 0.125 * INCH_M
    flats_m = 1.5 * diameter_m + 0.125 * INCH_M
    return (flats_m + diameter_m + chamfer_m) / 2.0


def ring_bearing_diameter_m(outer_m: float, inner_m: float) -> float:
    """Return the mean rubbing diameter of a plain ring, (D_o + D_i)/2.

    Raises:
        BoltingError: BLT014, the ring has no width.

    Source:
        ISO 16047, D_b = 0.5 (D_o + d_h); the uniform-wear collar of Bhandari, ch. 6.
    """
    require_above_zero("outer_m", outer_m)
    require_above_zero("inner_m", inner_m)
    if inner_m >= outer_m:
        raise BoltingError(
            f"inner diameter is {inner_m:g} m, must be below the outer {outer_m:g} m; "
            "correct the ring",
            "BLT014",
        )
    return (outer_m + inner_m) / 2.0


def _wedge_lever_m(thread: Thread, coefficient: float) -> float:
    """Return the thread's share of torque for each newton of preload."""
    around_m = pi * thread.pitch_diameter_m
    rub = coefficient * thread.flank_secant
    slope = (thread.pitch_m + rub * around_m) / (around_m - rub * thread.pitch_m)
    return thread.pitch_diameter_m / 2.0 * slope
