"""Torque and its inverses, the loosening torque, the stresses and the scatter band."""

from math import cos, pi, radians

import pytest

from coordinator.bolting.scatter import FrictionBand, combined_fraction, preload_band_n
from coordinator.bolting.threads import parse_thread
from coordinator.bolting.tightening_stress import (
    preload_at_yield_share_n,
    tightening_stress,
    von_mises_pa,
)
from coordinator.bolting.torque import (
    Friction,
    linear_form_torque_nm,
    loosening_torque_nm,
    nut_factor,
    overall_friction,
    short_form_torque_nm,
    wedge_form_preload_n,
    wedge_form_torque_nm,
)

DESIGNATIONS = ("M16x1.5", "M30", "1-8UNC", "2-8UN", "4-8UN")
FRICTIONS = (Friction(0.0, 0.0), Friction(0.08, 0.12), Friction(0.15, 0.15), Friction(0.3, 0.2))


@pytest.mark.parametrize("designation", DESIGNATIONS)
@pytest.mark.parametrize("friction", FRICTIONS)
def test_preload_from_torque_undoes_torque_from_preload(
    designation: str, friction: Friction
) -> None:
    """BT7: a joint that is judged by its torque must be judged by the formula that set it."""
    thread = parse_thread(designation)
    bearing_m = 1.3 * thread.major_diameter_m

    wedge_nm = wedge_form_torque_nm(3.0e5, thread, friction, bearing_m)

    assert wedge_form_preload_n(wedge_nm, thread, friction, bearing_m) == pytest.approx(3.0e5)


@pytest.mark.parametrize("designation", DESIGNATIONS)
@pytest.mark.parametrize("friction", FRICTIONS)
def test_wedge_form_is_the_inclined_plane_of_the_friction_angle(
    designation: str, friction: Friction
) -> None:
    """Oracle by angles: F d2/2 tan(phi + rho) with tan(rho) = f/cos 30, an independent way."""
    thread = parse_thread(designation)
    slope = thread.pitch_m / (pi * thread.pitch_diameter_m)
    rub = friction.thread / cos(radians(30.0))
    tangent = (slope + rub) / (1.0 - slope * rub)

    found_nm = wedge_form_torque_nm(1000.0, thread, friction, 0.06)

    expected_nm = 1000.0 * (thread.pitch_diameter_m / 2.0 * tangent + friction.bearing * 0.06 / 2.0)
    assert found_nm == pytest.approx(expected_nm, rel=1e-12)


@pytest.mark.parametrize("designation", DESIGNATIONS)
@pytest.mark.parametrize("coefficient", [0.05, 0.12, 0.2, 0.4])
def test_overall_friction_is_found_again_from_torque_and_preload(
    designation: str, coefficient: float
) -> None:
    """A look-back over records turns readings into friction with this."""
    thread = parse_thread(designation)
    torque_nm = linear_form_torque_nm(2.0e5, thread, Friction(coefficient, coefficient), 0.05)

    assert overall_friction(torque_nm, 2.0e5, thread, 0.05) == pytest.approx(coefficient)


def test_nut_factor_undoes_the_short_form() -> None:
    """K measured on a joint must give its torque back."""
    assert nut_factor(short_form_torque_nm(0.18, 0.03, 3e5), 0.03, 3e5) == pytest.approx(0.18)


@pytest.mark.parametrize("designation", DESIGNATIONS)
@pytest.mark.parametrize("friction", FRICTIONS[1:])
def test_loosening_takes_less_torque_than_tightening_at_the_same_friction(
    designation: str, friction: Friction
) -> None:
    """The slope helps one way and hinders the other; the gap follows from the angles."""
    thread = parse_thread(designation)

    tighten_nm = wedge_form_torque_nm(1.0e5, thread, friction, 0.05)
    loosen_nm = loosening_torque_nm(1.0e5, thread, friction, 0.05)

    assert 0.0 < loosen_nm < tighten_nm
    # tan(rho + phi) - tan(rho - phi) = 2 tan(phi) sec(rho)^2 / (1 - tan(phi)^2 tan(rho)^2).
    slope = thread.pitch_m / (pi * thread.pitch_diameter_m)
    rub = friction.thread / cos(radians(30.0))
    gap_nm = 1.0e5 * thread.pitch_m / pi * (1.0 + rub**2) / (1.0 - slope**2 * rub**2)
    assert tighten_nm - loosen_nm == pytest.approx(gap_nm, rel=1e-9)


def test_a_frictionless_nut_runs_back_by_itself() -> None:
    """Below zero means that the nut must be held: the sign is the finding."""
    thread = parse_thread("2-8UN")

    found_nm = loosening_torque_nm(1.0e5, thread, Friction(0.0, 0.0), 0.05)

    assert found_nm == pytest.approx(-1.0e5 * thread.pitch_m / (2.0 * pi))


@pytest.mark.parametrize("designation", DESIGNATIONS)
def test_combined_stress_grows_with_friction_and_exceeds_the_tension(designation: str) -> None:
    """BT3: a dry bolt is twisted harder at one preload, so it yields at less preload."""
    thread = parse_thread(designation)

    stresses = [tightening_stress(1.0e5, thread, friction) for friction in (0.0, 0.1, 0.2)]
    combined_pa = [stress.combined_pa for stress in stresses]
    shares_n = [preload_at_yield_share_n(7e8, thread, friction) for friction in (0.0, 0.1, 0.2)]

    assert combined_pa == sorted(combined_pa)
    assert all(stress.combined_pa > stress.axial_pa for stress in stresses)
    assert shares_n == sorted(shares_n, reverse=True)
    assert stresses[0].axial_pa * thread.tensile_area_m2 == pytest.approx(1.0e5)


def test_equivalent_stress_of_pure_twist_is_the_shear_times_root_three() -> None:
    """The distortion-energy rule in its two pure cases and one 3-4-5 mix."""
    assert von_mises_pa(100.0, 0.0) == pytest.approx(100.0)
    assert von_mises_pa(0.0, 100.0) == pytest.approx(173.20508)
    assert von_mises_pa(300.0, 400.0 / 3.0**0.5) == pytest.approx(500.0)


def test_preload_band_holds_every_corner_of_tool_and_friction() -> None:
    """BT10: the band is worst case: no mix of tool error and friction inside limits escapes it."""
    thread = parse_thread("2-8UN")
    frictions = FrictionBand(Friction(0.08, 0.07), Friction(0.1, 0.1), Friction(0.14, 0.15))

    band = preload_band_n(3000.0, thread, frictions, 0.07, tool_fraction=0.05)

    found_n = [
        wedge_form_preload_n(3000.0 * share, thread, Friction(in_thread, under_nut), 0.07)
        for share in (0.95, 1.0, 1.05)
        for in_thread in (0.08, 0.1, 0.14)
        for under_nut in (0.07, 0.1, 0.15)
    ]
    assert (min(found_n), max(found_n)) == pytest.approx((band.low_n, band.high_n))
    assert band.low_n < band.nominal_n < band.high_n
    assert band.tightening_factor == pytest.approx(max(found_n) / min(found_n))


def test_independent_fractions_add_as_the_sides_of_a_right_triangle() -> None:
    """GUM, 5.1.2: 3 % and 4 % are 5 % together."""
    assert combined_fraction(0.03, 0.04) == pytest.approx(0.05)
    assert combined_fraction() == 0.0
