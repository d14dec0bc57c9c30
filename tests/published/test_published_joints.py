"""Load sharing in a bolted joint against Shigley's worked example and stiffness table."""

from math import exp, pi

import pytest
from scipy import constants

from coordinator.bolting.joints import (
    bolt_load_n,
    bolt_stiffness_n_per_m,
    joint_constant,
    member_load_n,
    member_stiffness_n_per_m,
    separation_load_n,
)

POUND_FORCE_N = constants.lbf
KSI_PA = 1000.0 * constants.psi
AREA_M2 = 0.373 * constants.inch**2
MEGAPOUND_PER_INCH_N_M = 1e6 * constants.lbf / constants.inch


def test_joint_example_agrees_with_the_textbook() -> None:
    """Shigley, 9th ed., Ex. 8-3(a): 67.02 ksi, C 0.320, 72.17 ksi; 0.05 %.

    The printed 72.17 ksi is reckoned with the rounded C, so C is held to its three digits.
    """
    preload_n = 25000.0 * POUND_FORCE_N
    constant = joint_constant(6.50 * MEGAPOUND_PER_INCH_N_M, 13.8 * MEGAPOUND_PER_INCH_N_M)

    load_n = bolt_load_n(preload_n, 6000.0 * POUND_FORCE_N, constant)

    assert preload_n / AREA_M2 / KSI_PA == pytest.approx(67.02, rel=5e-4)
    assert constant == pytest.approx(0.320, abs=5e-4)
    assert load_n / AREA_M2 / KSI_PA == pytest.approx(72.17, rel=5e-4)


def test_bolt_and_members_share_the_whole_load() -> None:
    """Derived: the bolt's gain and the members' loss add up to the outside load; exact (BT1)."""
    constant = joint_constant(6.50, 13.8)

    gained_n = bolt_load_n(1000.0, 300.0, constant) - 1000.0
    lost_n = 1000.0 - member_load_n(1000.0, 300.0, constant)

    assert gained_n + lost_n == pytest.approx(300.0, rel=1e-12)


def test_members_part_at_the_separation_load() -> None:
    """Shigley, 9th ed., section 8-9: at P0 the clamping force is nothing; exact."""
    constant = joint_constant(6.50, 13.8)

    outside_n = separation_load_n(1000.0, constant)

    assert member_load_n(1000.0, outside_n, constant) == pytest.approx(0.0, abs=1e-9)


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
