"""Stiffness of bolts and members against Shigley's table and plain rods."""

from math import exp, pi

import pytest

from coordinator.bolting.joints import (
    bolt_stiffness_n_per_m,
    member_stiffness_n_per_m,
)


@pytest.mark.parametrize("slenderness", [0.3, 0.5, 0.75, 1.0, 1.5, 2.0])
def test_cone_stiffness_agrees_with_the_fitted_curve(slenderness: float) -> None:
    """Shigley, 9th ed., eq. 8-23, Table 8-8 (from memory): km = E d A exp(B d/l).

    A = 0.78715 and B = 0.62873 are Wileman's finite-element fit for steel, an independent route
    to the same stiffness. The two methods are held to 12 % for d/l from 0.3 to 2; they part
    further for longer grips.
    """
    elasticity_pa, diameter_m = 207.0e9, 0.020

    cone = member_stiffness_n_per_m(elasticity_pa, diameter_m, diameter_m / slenderness)

    fitted = elasticity_pa * diameter_m * 0.78715 * exp(0.62873 * slenderness)
    assert cone == pytest.approx(fitted, rel=0.12)


def test_a_plain_rod_is_as_stiff_as_its_area_and_length_make_it() -> None:
    """Derived, k = A E/l: shank and thread of one area are one rod; exact."""
    area_m2 = pi / 4.0 * 0.02**2

    stiffness = bolt_stiffness_n_per_m(
        200.0e9, area_m2, 0.05, shank_area_m2=area_m2, shank_length_m=0.15
    )

    assert stiffness == pytest.approx(area_m2 * 200.0e9 / 0.20, rel=1e-12)


def test_a_stud_without_a_shank_stretches_over_its_thread_alone() -> None:
    """Derived, k = A E/l with the stress area; exact."""
    stiffness = bolt_stiffness_n_per_m(200.0e9, 1.0e-3, 0.20)

    assert stiffness == pytest.approx(1.0e-3 * 200.0e9 / 0.20, rel=1e-12)
