"""Decide how hard a bolt is stressed while it is pulled and twisted at once.

Units: N, N*m, Pa.
Invariants: BT3, the combined stress is never below the axial stress alone.
"""

from dataclasses import dataclass
from math import pi, sqrt

from coordinator.bolting.errors import require_above_zero, require_fraction, require_friction
from coordinator.bolting.threads import Thread

_SHEAR_PER_TWIST_ELASTIC = 16.0
# tau = 16 M / (pi d^3), surface of an elastic round bar.
_SHEAR_PER_TWIST_PLASTIC = 12.0
# tau = 12 M / (pi d^3), round bar in full yield.


@dataclass(frozen=True, slots=True)
class TighteningStress:
    """Stresses in the threaded part of a bolt while the nut turns."""

    axial_pa: float
    shear_pa: float
    combined_pa: float
    """Equivalent tension by the distortion-energy rule."""


def von_mises_pa(axial_pa: float, shear_pa: float) -> float:
    """Return sqrt(sigma^2 + 3 tau^2).

    Source:
        VDI 2230 Part 1, step R8; Shigley, 9th ed., eq. 5-15 for plane tension and shear.
    """
    return sqrt(axial_pa**2 + 3.0 * shear_pa**2)


def tightening_stress(preload_n: float, thread: Thread, thread_friction: float) -> TighteningStress:
    """Return the elastic stresses at a preload, with the thread's own share of the torque.

    Args:
        preload_n: Tension in the bolt, above zero.
        thread: The bolt's thread; its stress diameter carries both loads.
        thread_friction: Coefficient in the thread, 0 to 1; the nut face does not twist the bolt.

    Source:
        VDI 2230 Part 1, R8: M_G = F (0.159 P + 0.577 d2 mu_G), tau = 16 M_G / (pi d_0^3).
    """
    require_above_zero("preload_n", preload_n)
    require_friction("friction in the thread", thread_friction)
    twist_nm = preload_n * _twist_lever_m(thread, thread_friction)
    axial_pa = preload_n / thread.tensile_area_m2
    shear_pa = _SHEAR_PER_TWIST_ELASTIC * twist_nm / (pi * thread.stress_diameter_m**3)
    return TighteningStress(axial_pa, shear_pa, von_mises_pa(axial_pa, shear_pa))


def preload_at_yield_share_n(
    yield_pa: float, thread: Thread, thread_friction: float, *, share: float = 0.9
) -> float:
    """Return the preload at which tightening uses a share of the yield strength.

    The shear is taken over the section in full yield, which is why the result is a little above
    the preload at which `tightening_stress` reaches the same share at the surface.

    Raises:
        BoltingError: BLT005, BLT006 or BLT012, an argument is out of range.

    Source:
        VDI 2230 Part 1:2015, step R7 and Table A1:
        F = A_0 nu Rp0.2 / sqrt(1 + 3 (3/2 d2/d0 (P/(pi d2) + 1.155 mu_G))^2).
    """
    require_above_zero("yield_pa", yield_pa)
    require_friction("friction in the thread", thread_friction)
    require_fraction("share of yield", share, below=1.0 + 1.0e-12)
    diameter_m = thread.stress_diameter_m
    twist_m = _twist_lever_m(thread, thread_friction)
    shear_per_axial = _SHEAR_PER_TWIST_PLASTIC * twist_m / (4.0 * diameter_m)
    return thread.tensile_area_m2 * share * yield_pa / von_mises_pa(1.0, shear_per_axial)


def _twist_lever_m(thread: Thread, thread_friction: float) -> float:
    rub = thread.pitch_diameter_m * thread_friction * thread.flank_secant
    return thread.pitch_m / (2.0 * pi) + rub / 2.0
