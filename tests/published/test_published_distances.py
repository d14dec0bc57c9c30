"""Distances and conversions against ISO 13855 and SciPy's constants."""

import pytest
from scipy import constants

from coordinator.bolting import constants as ours
from coordinator.bolting.separation import approach_distance_m, field_distance_m


# Time s, resolution mm, distance mm. First row: ISO 13855 example, reprint; then the printed
# formulas at hand: 2000 T + 8 (d - 14), not below 100, above 500 mm 1600 T instead, not below
# 500; coarser than 40 mm 1600 T + 850.
@pytest.mark.parametrize(
    ("time_s", "resolution_mm", "distance_mm"),
    [
        (0.165, 14, 330.0),
        (0.165, 30, 458.0),
        (0.100, 14, 200.0),
        (0.200, 20, 448.0),
        (0.020, 14, 100.0),
        (0.250, 14, 500.0),
        (0.260, 14, 500.0),
        (0.400, 14, 640.0),
        (0.400, 30, 768.0),
        (0.300, 50, 1330.0),
    ],
)
def test_field_distances_agree_with_the_positioning_standard(
    time_s: float, resolution_mm: float, distance_mm: float
) -> None:
    """ISO 13855:2010, 6.2.3; exact."""
    found_m = field_distance_m(time_s, resolution_mm * 1e-3)

    assert found_m * 1e3 == pytest.approx(distance_mm, rel=1e-9)


def test_general_distance_adds_travel_and_intrusion() -> None:
    """ISO 13855:2010, eq. 1: 1600 mm/s for 0.5 s and 1200 mm are 2000 mm; exact."""
    assert approach_distance_m(1.6, 0.5, 1.2) == pytest.approx(2.0, rel=1e-12)


# Ours, SciPy's, and the published number: SciPy scipy.constants, read; exact by definition.
@pytest.mark.parametrize(
    ("found", "oracle", "published"),
    [
        (ours.INCH_M, constants.inch, 0.0254),
        (ours.POUND_FORCE_N, constants.lbf, 4.4482216152605),
        (ours.PSI_PA, constants.psi, 6894.757293168361),
        (ours.KSI_PA, 1000.0 * constants.psi, 6894757.293168361),
        (ours.MPA_PA, constants.mega, 1.0e6),
        (ours.MILLIMETRE_M, constants.milli, 1.0e-3),
    ],
)
def test_conversion_factors_agree_with_the_constants_library(
    found: float, oracle: float, published: float
) -> None:
    """SciPy is an independent oracle; 1e-14."""
    assert found == pytest.approx(oracle, rel=1e-14)
    assert found == pytest.approx(published, rel=1e-14)
