"""Decide the published strength of a bolt or nut grade at a diameter.

Units: pascals and metres; ASTM figures are the inch-pound ones, converted exactly.
Invariants: BT8, no strength is given outside the diameters for which its standard gives one.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TypeVar

from coordinator.bolting.constants import INCH_M, KSI_PA, MILLIMETRE_M, MPA_PA
from coordinator.bolting.errors import BoltingError, require_above_zero

_Grade = TypeVar("_Grade", "BoltGrade", "NutGrade")

_ROUNDING_M = 1.0e-9
# A diameter that is a limit by name must not miss it by the rounding of a conversion.


@dataclass(frozen=True, slots=True)
class Strength:
    """Minimum strengths of a bolt grade in one range of diameters."""

    diameter_m_above: float
    diameter_m_max: float
    yield_pa: float
    """Lower yield strength, or 0.2 % proof strength where there is no yield point."""
    tensile_pa: float
    proof_pa: float | None
    """Stress under proof load; None where the standard sets none."""


@dataclass(frozen=True, slots=True)
class BoltGrade:
    """A bolt grade: its name, the standard that sets it, its strengths by rising diameter."""

    name: str
    source: str
    strengths: tuple[Strength, ...]

    def at(self, diameter_m: float) -> Strength:
        """Return the strength at a nominal diameter.

        Raises:
            BoltingError: BLT004, the standard gives none there; BLT005, not above zero.
        """
        require_above_zero("diameter_m", diameter_m)
        for strength in self.strengths:
            above = diameter_m > strength.diameter_m_above + _ROUNDING_M
            if above and diameter_m <= strength.diameter_m_max + _ROUNDING_M:
                return strength
        low_m = self.strengths[0].diameter_m_above
        raise BoltingError(
            f"diameter is {diameter_m / MILLIMETRE_M:g} mm for grade {self.name}, must be above "
            f"{low_m / MILLIMETRE_M:g} to {self.strengths[-1].diameter_m_max / MILLIMETRE_M:g} mm "
            f"({self.source}); choose another grade or size",
            "BLT004",
        )


@dataclass(frozen=True, slots=True)
class NutGrade:
    """A nut grade and its proof stress on the bolt's tensile stress area."""

    name: str
    source: str
    diameter_m_max: float
    proof_hex_pa: float
    proof_heavy_hex_pa: float


def _metric(name: str, *rows: tuple[float, float, float, float, float]) -> BoltGrade:
    """Build a property class from rows of mm above, mm to, then yield, tensile, proof in MPa."""
    strengths = tuple(
        Strength(
            above * MILLIMETRE_M,
            upto * MILLIMETRE_M,
            yield_ * MPA_PA,
            tensile * MPA_PA,
            proof * MPA_PA,
        )
        for above, upto, yield_, tensile, proof in rows
    )
    return BoltGrade(name, "ISO 898-1:2013, Table 3", strengths)


def _inch(name: str, source: str, *rows: tuple[float, float, float, float]) -> BoltGrade:
    """Build an ASTM grade from rows of inch above, inch to, then yield and tensile in ksi."""
    strengths = tuple(
        Strength(above * INCH_M, upto * INCH_M, yield_ * KSI_PA, tensile * KSI_PA, None)
        for above, upto, yield_, tensile in rows
    )
    return BoltGrade(name, source, strengths)


_A193 = "ASTM A193/A193M, Table 2 (inch-pound units)"
_A320 = "ASTM A320/A320M, Table 1 (inch-pound units)"
_A194 = "ASTM A194/A194M, Table 3 (inch-pound units)"

# Metric limits: from above M1.5 (M1.6 is the smallest) to M39, the scope of ISO 898-1.
_BOLT_GRADES: tuple[BoltGrade, ...] = (
    _metric("4.6", (1.5, 39.0, 240.0, 400.0, 225.0)),
    _metric("4.8", (1.5, 39.0, 340.0, 420.0, 310.0)),
    _metric("5.6", (1.5, 39.0, 300.0, 500.0, 280.0)),
    _metric("5.8", (1.5, 39.0, 420.0, 520.0, 380.0)),
    _metric("6.8", (1.5, 39.0, 480.0, 600.0, 440.0)),
    _metric("8.8", (1.5, 16.0, 640.0, 800.0, 580.0), (16.0, 39.0, 660.0, 830.0, 600.0)),
    _metric("9.8", (1.5, 16.0, 720.0, 900.0, 650.0)),
    _metric("10.9", (1.5, 39.0, 940.0, 1040.0, 830.0)),
    _metric("12.9", (1.5, 39.0, 1100.0, 1220.0, 970.0)),
    _inch(
        "A193 B7",
        _A193,
        (0.0, 2.5, 105.0, 125.0),
        (2.5, 4.0, 95.0, 115.0),
        (4.0, 7.0, 75.0, 100.0),
    ),
    _inch("A193 B7M", _A193, (0.0, 4.0, 80.0, 100.0), (4.0, 7.0, 75.0, 100.0)),
    _inch(
        "A193 B16",
        _A193,
        (0.0, 2.5, 105.0, 125.0),
        (2.5, 4.0, 95.0, 110.0),
        (4.0, 8.0, 85.0, 100.0),
    ),
    _inch("A320 L7", _A320, (0.0, 2.5, 105.0, 125.0)),
    _inch("A320 L7M", _A320, (0.0, 2.5, 80.0, 100.0)),
    _inch("A320 L43", _A320, (0.0, 4.0, 105.0, 125.0)),
)

_NUT_GRADES: tuple[NutGrade, ...] = (
    NutGrade("A194 2H", _A194, 1.5 * INCH_M, 150.0 * KSI_PA, 175.0 * KSI_PA),
    NutGrade("A194 2HM", _A194, 1.5 * INCH_M, 135.0 * KSI_PA, 150.0 * KSI_PA),
)
# Above 1 1/2 in the standard sets no proof load without a supplementary requirement.


def _with_short_names(
    grades: tuple[_Grade, ...],
) -> Mapping[str, _Grade]:
    """Index grades by full name and by the part after the standard's number."""
    return MappingProxyType(
        {key: grade for grade in grades for key in (grade.name, grade.name.split()[-1])}
    )


BOLT_GRADES = _with_short_names(_BOLT_GRADES)
"""Bolt grades by full and by short name, such as ``A193 B7`` and ``B7``."""

NUT_GRADES = _with_short_names(_NUT_GRADES)
"""Nut grades by full and by short name."""


def bolt_grade(name: str) -> BoltGrade:
    """Return the bolt grade called `name`: ``8.8``, ``A193 B7``, ``ASTM A320 L7`` or ``L7``.

    Raises:
        BoltingError: BLT003, no such grade.
    """
    return _find(name, BOLT_GRADES, "bolt grade")


def nut_grade(name: str) -> NutGrade:
    """Return the nut grade called `name`: ``A194 2H`` or ``2H``.

    Raises:
        BoltingError: BLT003, no such grade.
    """
    return _find(name, NUT_GRADES, "nut grade")


def nut_proof_load_n(grade: NutGrade, diameter_m: float, tensile_area_m2: float) -> float:
    """Return the proof load of a heavy hex nut: proof stress times the bolt's stress area.

    Raises:
        BoltingError: BLT004, the standard sets no proof load at that diameter.

    Source:
        ASTM A194/A194M, Table 3 and its note: load = stress times stress area.
    """
    require_above_zero("diameter_m", diameter_m)
    require_above_zero("tensile_area_m2", tensile_area_m2)
    if diameter_m > grade.diameter_m_max + _ROUNDING_M:
        raise BoltingError(
            f"diameter is {diameter_m / INCH_M:g} in for nut grade {grade.name}, must be at most "
            f"{grade.diameter_m_max / INCH_M:g} in; judge larger nuts by hardness",
            "BLT004",
        )
    return grade.proof_heavy_hex_pa * tensile_area_m2


def _find(name: str, known: Mapping[str, _Grade], what: str) -> _Grade:
    key = " ".join(name.upper().split()).removeprefix("ASTM ")
    found = known.get(key)
    if found is None:
        full = ", ".join(dict.fromkeys(grade.name for grade in known.values()))
        raise BoltingError(f"{what} is {name!r}, must be one of {full}; choose one", "BLT003")
    return found
