"""Decide how a bolt and its clamped members share an outside load.

Units: N, N/m, Pa, m.
Invariants: BT1, bolt share and member share of an outside load add up to one.
"""

from math import log, pi, sqrt

from coordinator.bolting.errors import require_above_zero, require_fraction

_CONE_TANGENT = 1.0 / sqrt(3.0)
# Pressure cone of 30 degrees.


def joint_constant(bolt_stiffness_n_per_m: float, member_stiffness_n_per_m: float) -> float:
    """Return C = kb/(kb + km), the share of an outside load that the bolt takes.

    Source:
        Shigley, 9th ed., section 8-7, eq. (f) before eq. 8-24.
    """
    require_above_zero("bolt_stiffness_n_per_m", bolt_stiffness_n_per_m)
    require_above_zero("member_stiffness_n_per_m", member_stiffness_n_per_m)
    return bolt_stiffness_n_per_m / (bolt_stiffness_n_per_m + member_stiffness_n_per_m)


def bolt_load_n(preload_n: float, outside_load_n: float, constant: float) -> float:
    """Return the tension in the bolt, Fb = C P + Fi, while the members still touch.

    Source:
        Shigley, 9th ed., eq. 8-24.
    """
    require_fraction("constant", constant)
    return constant * outside_load_n + preload_n


def member_load_n(preload_n: float, outside_load_n: float, constant: float) -> float:
    """Return the clamping force that is left, Fi - (1 - C) P; at or below zero it is open.

    Source:
        Shigley, 9th ed., eq. 8-25, with compression counted as positive here.
    """
    require_fraction("constant", constant)
    return preload_n - (1.0 - constant) * outside_load_n


def separation_load_n(preload_n: float, constant: float) -> float:
    """Return the outside load per bolt at which the members part, P0 = Fi/(1 - C).

    Source:
        Shigley, 9th ed., section 8-9 (joint separation).
    """
    require_above_zero("preload_n", preload_n)
    require_fraction("constant", constant)
    return preload_n / (1.0 - constant)


def bolt_stiffness_n_per_m(
    elasticity_pa: float,
    tensile_area_m2: float,
    threaded_length_m: float,
    *,
    shank_area_m2: float = 0.0,
    shank_length_m: float = 0.0,
) -> float:
    """Return the stiffness of the stretched length: shank and thread in series.

    A stud threaded over its whole length has no shank: leave both shank values at zero.

    Source:
        Shigley, 9th ed., eq. 8-17, kb = Ad At E / (Ad lt + At ld).
    """
    require_above_zero("elasticity_pa", elasticity_pa)
    require_above_zero("tensile_area_m2", tensile_area_m2)
    require_above_zero("threaded_length_m", threaded_length_m)
    compliance = threaded_length_m / tensile_area_m2
    if shank_length_m != 0.0:
        require_above_zero("shank_length_m", shank_length_m)
        require_above_zero("shank_area_m2", shank_area_m2)
        compliance += shank_length_m / shank_area_m2
    return elasticity_pa / compliance


def member_stiffness_n_per_m(elasticity_pa: float, diameter_m: float, grip_m: float) -> float:
    """Return the stiffness of two like members by back-to-back 30 degree cones, head 1.5 d.

    Source:
        Shigley, 9th ed., eq. 8-22:
        km = 0.5774 pi E d / (2 ln(5 (0.5774 l + 0.5 d) / (0.5774 l + 2.5 d))).
    """
    require_above_zero("elasticity_pa", elasticity_pa)
    require_above_zero("diameter_m", diameter_m)
    require_above_zero("grip_m", grip_m)
    cone_m = _CONE_TANGENT * grip_m
    spread = 5.0 * (cone_m + 0.5 * diameter_m) / (cone_m + 2.5 * diameter_m)
    return _CONE_TANGENT * pi * elasticity_pa * diameter_m / (2.0 * log(spread))
