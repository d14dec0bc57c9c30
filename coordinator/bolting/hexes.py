"""Return the size of a nut's hexagon.

Units: m.
"""

from fractions import Fraction
from math import sqrt

from coordinator.bolting.constants import INCH_M, MILLIMETRE_M
from coordinator.bolting.errors import BoltingError, require_above_zero
from coordinator.bolting.tables import inch_rows, metric_rows

_HEAVY_FLATS_EXCEPTIONS_IN = inch_rows("heavy_flats_exceptions")
_METRIC_FLATS_MM = metric_rows("metric_flats")


def heavy_hex_across_flats_m(diameter_m: float) -> float:
    """Return the basic (largest) width across flats of a heavy hex inch nut, 1.5 D + 1/8 in.

    Source:
        ASME B18.2.2, heavy hex nuts; 5/16, 7/16 and 9/16 in have flats of their own.
    """
    require_above_zero("diameter_m", diameter_m)
    # Thousandths of a sixteenth do not matter: a nominal size is a whole number of sixteenths.
    size = Fraction(round(diameter_m / INCH_M * 16.0), 16)
    is_nominal = abs(float(size) * INCH_M - diameter_m) < 1.0e-9
    exception = _HEAVY_FLATS_EXCEPTIONS_IN.get(size) if is_nominal else None
    if exception is not None:
        return exception * INCH_M
    return 1.5 * diameter_m + 0.125 * INCH_M


def metric_across_flats_m(diameter_m: float) -> float:
    """Return the nominal width across flats of a regular metric nut.

    Raises:
        BoltingError: BLT002, no such nut in the table.

    Source:
        ISO 272; ISO 4032.
    """
    require_above_zero("diameter_m", diameter_m)
    size_mm = round(diameter_m / MILLIMETRE_M, 6)
    flats_mm = _METRIC_FLATS_MM.get(size_mm)
    if flats_mm is None:
        raise BoltingError(
            f"nut is M{size_mm:g}, must be a size of ISO 272 from M6 to M64; "
            "give the flats in the joint file",
            "BLT002",
        )
    return flats_mm * MILLIMETRE_M


def across_corners_m(across_flats_m: float) -> float:
    """Return the greatest width across corners, flats times 2/sqrt(3), of a sharp hexagon."""
    require_above_zero("across_flats_m", across_flats_m)
    return across_flats_m * 2.0 / sqrt(3.0)
