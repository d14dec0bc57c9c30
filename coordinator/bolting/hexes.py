"""Decide the size of a nut's hexagon and how far a socket must turn to fit over it.

Units: m, rad; angles grow clockwise as seen from the tool.
Invariants: BT6, the smallest turn that seats a socket is at most half its repeat angle, either way.
"""

from collections.abc import Mapping
from fractions import Fraction
from math import pi, remainder, sqrt
from types import MappingProxyType

from coordinator.bolting.constants import INCH_M, MILLIMETRE_M
from coordinator.bolting.errors import BoltingError, require_above_zero

_HEAVY_FLATS_EXCEPTIONS_IN: Mapping[Fraction, Fraction] = MappingProxyType(
    {
        Fraction(5, 16): Fraction(9, 16),
        Fraction(7, 16): Fraction(3, 4),
        Fraction(9, 16): Fraction(15, 16),
    }
)
# ASME B18.2.2, heavy hex nuts: three small sizes that do not follow the rule.

_METRIC_FLATS_MM: Mapping[float, float] = MappingProxyType(
    {
        6: 10,
        8: 13,
        10: 16,
        12: 18,
        14: 21,
        16: 24,
        18: 27,
        20: 30,
        22: 34,
        24: 36,
        27: 41,
        30: 46,
        33: 50,
        36: 55,
        39: 60,
        42: 65,
        45: 70,
        48: 75,
        52: 80,
        56: 85,
        60: 90,
        64: 95,
    }
)
# ISO 272, product grades A and B (from memory); the flats of ISO 4032 nuts.

_SOCKET_POINTS = (6, 12)


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
        return float(exception) * INCH_M
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


def engagement_repeat_rad(points: int) -> float:
    """Return the angle after which a socket of 6 or 12 points fits a hexagon again.

    Raises:
        BoltingError: BLT011, another number of points.
    """
    if points not in _SOCKET_POINTS:
        raise BoltingError(
            f"socket has {points} points, must have 6 or 12; correct the tool", "BLT011"
        )
    return 2.0 * pi / points


def reindex_rad_max(points: int) -> float:
    """Return the largest turn that a socket may need before it seats, turning either way."""
    return engagement_repeat_rad(points) / 2.0


def reindex_rad_mean(points: int) -> float:
    """Return the mean of that turn over nuts that stand at random, all angles alike."""
    return engagement_repeat_rad(points) / 4.0


def reindex_rad(socket_angle_rad: float, hex_angle_rad: float, points: int) -> float:
    """Return the signed smallest turn of the socket that brings it over the hexagon.

    Args:
        socket_angle_rad: Direction of one socket point.
        hex_angle_rad: Direction of one corner of the nut, as measured.
        points: 6 or 12.

    Returns:
        The turn, from minus half to plus half of the repeat angle.
    """
    return remainder(hex_angle_rad - socket_angle_rad, engagement_repeat_rad(points))
