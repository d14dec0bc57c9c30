"""Nut hexagons against ASME B18.2.2 and ISO 272."""

import pytest

from coordinator.bolting.hexes import (
    across_corners_m,
    heavy_hex_across_flats_m,
    metric_across_flats_m,
)

INCH_M = 0.0254

# Size, greatest width across flats, greatest width across corners, in: ASME B18.2.2, heavy hex
# nuts, as reprinted by a nut maker, read.
HEAVY_HEX = [
    (1 / 4, 0.500, 0.577),
    (5 / 16, 0.562, 0.650),
    (3 / 8, 0.688, 0.794),
    (7 / 16, 0.750, 0.866),
    (1 / 2, 0.875, 1.010),
    (9 / 16, 0.938, 1.083),
    (5 / 8, 1.062, 1.227),
    (3 / 4, 1.250, 1.443),
    (7 / 8, 1.438, 1.660),
    (1.0, 1.625, 1.876),
    (1 + 1 / 8, 1.812, 2.093),
    (1 + 1 / 4, 2.000, 2.309),
    (1 + 3 / 8, 2.188, 2.526),
    (1 + 1 / 2, 2.375, 2.742),
    (1 + 5 / 8, 2.562, 2.959),
    (1 + 3 / 4, 2.750, 3.175),
    (2.0, 3.125, 3.608),
    (2 + 1 / 4, 3.500, 4.041),
    (2 + 1 / 2, 3.875, 4.474),
    (2 + 3 / 4, 4.250, 4.907),
    (3.0, 4.625, 5.340),
    (3 + 1 / 4, 5.000, 5.774),
    (3 + 1 / 2, 5.375, 6.207),
    (3 + 3 / 4, 5.750, 6.640),
    (4.0, 6.125, 7.073),
]

# Size, flats, mm: ISO 272 and ISO 4032, from memory.
METRIC_FLATS = [
    (6, 10),
    (8, 13),
    (10, 16),
    (12, 18),
    (16, 24),
    (20, 30),
    (24, 36),
    (30, 46),
    (36, 55),
    (42, 65),
    (48, 75),
    (56, 85),
    (64, 95),
]


@pytest.mark.parametrize(("size_in", "flats_in", "corners_in"), HEAVY_HEX)
def test_heavy_hex_nuts_have_their_printed_flats_and_corners(
    size_in: float, flats_in: float, corners_in: float
) -> None:
    """ASME B18.2.2, heavy hex nuts; 0.001 in."""
    flats_m = heavy_hex_across_flats_m(size_in * INCH_M)

    assert flats_m / INCH_M == pytest.approx(flats_in, abs=1e-3)
    assert across_corners_m(flats_m) / INCH_M == pytest.approx(corners_in, abs=1e-3)


@pytest.mark.parametrize(("size_mm", "flats_mm"), METRIC_FLATS)
def test_metric_nuts_have_their_printed_flats(size_mm: float, flats_mm: float) -> None:
    """ISO 272 from memory; exact."""
    assert metric_across_flats_m(size_mm * 1e-3) == pytest.approx(flats_mm * 1e-3, rel=1e-12)
