"""Decide the dimensions of a screw thread from its designation.

Units: metres and square metres; the thread angle in radians.
Invariants: BT2, a designation is accepted only if size and pitch are a pair of its published
series.
"""

import re
from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from math import cos, pi, radians, sqrt
from typing import Literal

from coordinator.bolting.constants import INCH_M, MILLIMETRE_M
from coordinator.bolting.errors import BoltingError
from coordinator.bolting.tables import TABLES, inch_rows, metric_rows

ThreadSeries = Literal["metric coarse", "metric fine", "UNC", "UNF", "8-UN", "UN"]

_METRIC_COARSE_MM = metric_rows("metric_coarse")
_METRIC_FINE_MM: dict[float, tuple[float, ...]] = {
    float(size): tuple(map(float, pitches))
    for sizes, pitches in TABLES["metric_fine"]["rows"]
    for size in sizes
}
_UNIFIED_PER_INCH: dict[ThreadSeries, dict[Fraction, float]] = {
    "UNC": inch_rows("unified_coarse"),
    "UNF": inch_rows("unified_fine"),
}
_UNIFIED_CONSTANT_PITCH_IN = {
    float(per_inch): Fraction(size) for per_inch, size in TABLES["unified_constant_pitch"]["rows"]
}
_UNIFIED_DIAMETER_IN_MIN = Fraction(1, 4)
_UNIFIED_DIAMETER_IN_MAX = Fraction(6)

_HEIGHT_PER_PITCH = sqrt(3.0) / 2.0
# H/P of the fundamental 60 degree triangle. ISO 68-1, clause 3; ASME B1.1, section 10.

_METRIC = re.compile(r"M(?P<size>\d+(?:\.\d+)?)(?:X(?P<pitch>\d+(?:\.\d+)?))?(?:-\d[GHE]+)?")
_UNIFIED = re.compile(
    r"(?:(?:(?P<whole>\d+)[ -])?(?P<fraction>\d+/[1-9]\d*)|(?P<decimal>\d+(?:\.\d+)?))"
    r"-(?P<count>\d+(?:\.\d+|\s1/2)?)\s?UNR?(?P<series>[CF]?)(?:-[123][AB])?"
)


@dataclass(frozen=True, slots=True)
class Thread:
    """A 60 degree screw thread with its basic dimensions."""

    designation: str
    series: ThreadSeries
    major_diameter_m: float
    pitch_m: float
    pitch_diameter_m: float
    """d2 = d - 3/4 H, where the flanks of bolt and nut share the pitch equally."""
    minor_diameter_internal_m: float
    """D1 = d - 5/4 H, the bore of the nut."""
    minor_diameter_external_m: float
    """Rounded root of the bolt: d3 = d - 17/12 H (ISO 724), or d - 11/8 H (UNR form)."""
    root_diameter_m: float
    """d - 3/2 H, the flat root from which the published root areas are reckoned."""
    root_area_m2: float
    tensile_area_m2: float
    angle_rad: float
    """Included angle between the flanks."""

    @property
    def half_angle_rad(self) -> float:
        """Angle between one flank and the plane square to the axis."""
        return self.angle_rad / 2.0

    @property
    def flank_secant(self) -> float:
        """Factor by which the inclined flank raises the friction of a square thread."""
        return 1.0 / cos(self.half_angle_rad)

    @property
    def stress_diameter_m(self) -> float:
        """Diameter of the circle that has the tensile stress area."""
        return sqrt(4.0 * self.tensile_area_m2 / pi)


def parse_thread(text: str) -> Thread:
    """Return the thread that `text` designates.

    Args:
        text: ISO metric such as ``M30``, ``M30x3.5``, ``M16x1.5``, or unified inch such as
            ``2-8UN``, ``1 1/2-8UN``, ``1.5-8UN``, ``3/4-16UNF``, ``1-8UNC``. A tolerance class
            at the end (``-6g``, ``-2A``) is allowed and changes nothing: sizes are basic ones.

    Returns:
        The thread with a canonical designation.

    Raises:
        BoltingError: BLT001, the form is unknown; BLT002, size and pitch are no standard pair.
    """
    plain = re.sub(r"\s+", " ", text.replace("\u00d7", "x").strip()).upper()
    metric = _METRIC.fullmatch(plain.replace(" ", ""))
    if metric is not None:
        pitch = metric["pitch"]
        return _metric_thread(text, float(metric["size"]), None if pitch is None else float(pitch))
    unified = _UNIFIED.fullmatch(re.sub(r"\s*-\s*", "-", plain))
    if unified is not None:
        size = Fraction(unified["whole"] or 0) + Fraction(unified["fraction"] or unified["decimal"])
        return _unified_thread(text, size, _threads_per_inch(unified["count"]), unified["series"])
    raise BoltingError(
        f"thread is {text!r}, must be ISO metric or unified inch; "
        "write it like 'M30', 'M30x3', '2-8UN' or '3/4-16UNF'",
        "BLT001",
    )


def _threads_per_inch(count: str) -> float:
    whole, _, half = count.partition(" ")
    return float(whole) + (0.5 if half else 0.0)


def _metric_thread(text: str, size_mm: float, pitch_mm: float | None) -> Thread:
    coarse_mm = _METRIC_COARSE_MM.get(size_mm)
    known = (() if coarse_mm is None else (coarse_mm,)) + _METRIC_FINE_MM.get(size_mm, ())
    if not known:
        near = " and ".join(f"M{size:g}" for size in _nearest_metric_sizes_mm(size_mm))
        raise BoltingError(
            f"thread is {text!r}, must be a diameter of ISO 261; "
            f"the nearest coarse threads are {near}",
            "BLT002",
        )
    chosen = coarse_mm if pitch_mm is None else pitch_mm
    if chosen is None or chosen not in known:
        choices = ", ".join(f"M{size_mm:g}x{pitch:g}" for pitch in known)
        raise BoltingError(
            f"thread is {text!r}, must have a pitch of ISO 261; write one of {choices}", "BLT002"
        )
    return _thread(
        f"M{size_mm:g}x{chosen:g}",
        "metric coarse" if chosen == coarse_mm else "metric fine",
        size_mm * MILLIMETRE_M,
        chosen * MILLIMETRE_M,
    )


def _nearest_metric_sizes_mm(size_mm: float) -> tuple[float, ...]:
    """Return the known coarse diameters next to an unknown one, at most two, rising."""
    sizes = tuple(_METRIC_COARSE_MM)  # The table rises.
    place = bisect_right(sizes, size_mm)
    return sizes[max(0, place - 1) : place + 1]


def _unified_thread(text: str, size: Fraction, per_inch: float, letter: str) -> Thread:
    series: ThreadSeries
    if letter:
        series = "UNC" if letter == "C" else "UNF"
        expected = _UNIFIED_PER_INCH[series].get(size)
        if expected != per_inch:
            hint = "no size of that series" if expected is None else f"{expected:g} per inch"
            raise BoltingError(
                f"thread is {text!r}, must match the {series} series ({hint}); "
                "correct the count, or write UN for a constant-pitch thread",
                "BLT002",
            )
    else:
        series = "8-UN" if per_inch == 8.0 else "UN"
        _require_constant_pitch(text, size, per_inch)
    suffix = series if letter else "UN"
    return _thread(
        f"{_inch_text(size)}-{per_inch:g}{suffix}",
        series,
        float(size) * INCH_M,
        INCH_M / per_inch,
    )


def _require_constant_pitch(text: str, size: Fraction, per_inch: float) -> None:
    in_range = _UNIFIED_DIAMETER_IN_MIN <= size <= _UNIFIED_DIAMETER_IN_MAX
    smallest = _UNIFIED_CONSTANT_PITCH_IN.get(per_inch)
    if smallest is None or size < smallest or not in_range or (size * 16).denominator != 1:
        raise BoltingError(
            f"thread is {text!r}, must be a size in sixteenths up to "
            f"{float(_UNIFIED_DIAMETER_IN_MAX):g} in with a constant pitch of ASME B1.1; "
            "correct the size or the count per inch",
            "BLT002",
        )


def _inch_text(size: Fraction) -> str:
    whole, rest = divmod(size, 1)
    if rest == 0:
        return str(whole)
    return f"{whole} {rest}" if whole else str(rest)


def _thread(designation: str, series: ThreadSeries, major_m: float, pitch_m: float) -> Thread:
    """Reckon every dimension from diameter and pitch.

    Source:
        ISO 68-1 and ISO 724 (d2, D1, d3); ISO 898-1:2013, As = pi/4 ((d2 + d3)/2)^2,
        the same as pi/4 (d - 0.9382 P)^2. ASME B1.1-2003, 60 degree UN and UNR form;
        appendix B, At = pi/4 (D - 0.9743/n)^2. Root area as in ASME PCC-1 Table H-1.
    """
    height_m = _HEIGHT_PER_PITCH * pitch_m
    pitch_diameter_m = major_m - 0.75 * height_m
    root_m = major_m - 1.5 * height_m
    is_metric = designation.startswith("M")
    external_m = major_m - (17.0 / 12.0 if is_metric else 11.0 / 8.0) * height_m
    # ISO takes the middle of d2 and the rounded root d3; ASME the middle of d2 and the flat root.
    stress_m = (pitch_diameter_m + (external_m if is_metric else root_m)) / 2.0
    return Thread(
        designation=designation,
        series=series,
        major_diameter_m=major_m,
        pitch_m=pitch_m,
        pitch_diameter_m=pitch_diameter_m,
        minor_diameter_internal_m=major_m - 1.25 * height_m,
        minor_diameter_external_m=external_m,
        root_diameter_m=root_m,
        root_area_m2=pi / 4.0 * root_m**2,
        tensile_area_m2=pi / 4.0 * stress_m**2,
        angle_rad=radians(60.0),
    )
