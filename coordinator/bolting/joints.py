"""Return the stiffness of a bolt and of the members that it clamps.

Units: N/m, Pa, m.
"""

from math import log, pi, sqrt

from coordinator.bolting.errors import require_above_zero

_CONE_TANGENT = 1.0 / sqrt(3.0)
# Pressure cone of 30 degrees.


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
