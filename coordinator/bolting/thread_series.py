"""List the published pairs of thread diameter and pitch.

Units: metric in millimetres, unified in inches and threads per inch, as they are published.
Invariants: BT2, a designation is accepted only if size and pitch are a pair of its published
series.
"""

from bisect import bisect_right
from collections.abc import Mapping
from fractions import Fraction
from types import MappingProxyType
from typing import Literal

ThreadSeries = Literal["metric coarse", "metric fine", "UNC", "UNF", "8-UN", "UN"]

_METRIC_COARSE_MM: Mapping[float, float] = MappingProxyType(
    {
        1.6: 0.35,
        2: 0.4,
        2.5: 0.45,
        3: 0.5,
        3.5: 0.6,
        4: 0.7,
        5: 0.8,
        6: 1,
        7: 1,
        8: 1.25,
        10: 1.5,
        12: 1.75,
        14: 2,
        16: 2,
        18: 2.5,
        20: 2.5,
        22: 2.5,
        24: 3,
        27: 3,
        30: 3.5,
        33: 3.5,
        36: 4,
        39: 4,
        42: 4.5,
        45: 4.5,
        48: 5,
        52: 5,
        56: 5.5,
        60: 5.5,
        64: 6,
        68: 6,
    }
)
# ISO 261:1998, Table 2, coarse pitches.

_METRIC_FINE_MM: tuple[tuple[tuple[float, ...], tuple[float, ...]], ...] = (
    ((6, 7), (0.75,)),
    ((8,), (1, 0.75)),
    ((10,), (1.25, 1, 0.75)),
    ((12, 14), (1.5, 1.25, 1)),
    ((16,), (1.5, 1)),
    ((18, 20, 22, 24, 27), (2, 1.5, 1)),
    ((30,), (3, 2, 1.5, 1)),
    ((33, 36, 39), (3, 2, 1.5)),
    ((42, 45, 48, 52, 56, 60, 64, 68), (4, 3, 2, 1.5)),
    ((70, 72, 76, 80), (6, 4, 3, 2, 1.5)),
    ((85, 90, 95, 100, 105, 110, 115, 120, 125), (6, 4, 3, 2)),
    ((130, 140, 150), (8, 6, 4, 3, 2)),
    ((82,), (3, 2)),
)
# ISO 261:1998, Table 2, fine pitches (from memory); M82x3 is listed by ASME PCC-1 Table H-1.

_UNIFIED_COARSE: tuple[tuple[str, float], ...] = (
    ("1/4", 20),
    ("5/16", 18),
    ("3/8", 16),
    ("7/16", 14),
    ("1/2", 13),
    ("9/16", 12),
    ("5/8", 11),
    ("3/4", 10),
    ("7/8", 9),
    ("1", 8),
    ("9/8", 7),
    ("5/4", 7),
    ("11/8", 6),
    ("3/2", 6),
    ("7/4", 5),
    ("2", 4.5),
    ("9/4", 4.5),
    ("5/2", 4),
    ("11/4", 4),
    ("3", 4),
    ("13/4", 4),
    ("7/2", 4),
    ("15/4", 4),
    ("4", 4),
)
_UNIFIED_FINE: tuple[tuple[str, float], ...] = (
    ("1/4", 28),
    ("5/16", 24),
    ("3/8", 24),
    ("7/16", 20),
    ("1/2", 20),
    ("9/16", 18),
    ("5/8", 18),
    ("3/4", 16),
    ("7/8", 14),
    ("1", 12),
    ("9/8", 12),
    ("5/4", 12),
    ("11/8", 12),
    ("3/2", 12),
)
# ASME B1.1-2003, Table 1, UNC and UNF columns.

_COARSE: Mapping[Fraction, float] = MappingProxyType(
    {Fraction(size): count for size, count in _UNIFIED_COARSE}
)
_FINE: Mapping[Fraction, float] = MappingProxyType(
    {Fraction(size): count for size, count in _UNIFIED_FINE}
)
_FINE_MM: Mapping[float, tuple[float, ...]] = MappingProxyType(
    {size: pitches for sizes, pitches in _METRIC_FINE_MM for size in sizes}
)

UNIFIED_CONSTANT_PITCH_SIZES: Mapping[float, Fraction] = MappingProxyType(
    {
        4: Fraction(5, 2),
        6: Fraction(11, 8),
        8: Fraction(1),
        12: Fraction(9, 16),
        16: Fraction(3, 8),
        20: Fraction(1, 4),
    }
)
"""Threads per inch of the constant-pitch series against its smallest size in inches."""

UNIFIED_DIAMETER_IN_MIN = Fraction(1, 4)
UNIFIED_DIAMETER_IN_MAX = Fraction(6)


def metric_coarse_pitch_mm(size_mm: float) -> float | None:
    """Return the coarse pitch of ISO 261 for a diameter, or None where there is none."""
    return _METRIC_COARSE_MM.get(size_mm)


def metric_pitches_mm(size_mm: float) -> tuple[float, ...]:
    """Return every known pitch for a diameter, coarse first; empty for an unknown diameter."""
    coarse = _METRIC_COARSE_MM.get(size_mm)
    return (() if coarse is None else (coarse,)) + _FINE_MM.get(size_mm, ())


def unified_threads_per_inch(series: Literal["UNC", "UNF"], size: Fraction) -> float | None:
    """Return the count of the coarse or fine series for a size in inches, or None."""
    return (_COARSE if series == "UNC" else _FINE).get(size)


def nearest_metric_sizes_mm(size_mm: float) -> tuple[float, ...]:
    """Return the known coarse diameters next to an unknown one, at most two, rising."""
    sizes = tuple(_METRIC_COARSE_MM)  # Written in rising order above.
    place = bisect_right(sizes, size_mm)
    return sizes[max(0, place - 1) : place + 1]
