"""Decide the published strength of a bolt or nut grade at a diameter.

Units: pascals and metres; ASTM figures are the inch-pound ones, converted exactly.
Invariants: BT8, no strength is given outside the diameters for which its standard gives one.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TypeVar

from coordinator.bolting.constants import INCH_M, KSI_PA, MILLIMETRE_M, MPA_PA
from coordinator.bolting.errors import BoltingError, require_above_zero
from coordinator.bolting.tables import TABLES

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
    proof_heavy_hex_pa: float


def _bolt_grade(name: str, source: str, units: str, rows: list[list[float]]) -> BoltGrade:
    length_m, stress_pa = _UNITS[units]
    strengths = (
        Strength(
            above * length_m,
            upto * length_m,
            yield_ * stress_pa,
            tensile * stress_pa,
            proof[0] * stress_pa if proof else None,
        )
        for above, upto, yield_, tensile, *proof in rows
    )
    return BoltGrade(name, source, tuple(strengths))


def _nut_grade(
    name: str, source: str, units: str, diameter_max: float, proof_heavy_hex: float
) -> NutGrade:
    length_m, stress_pa = _UNITS[units]
    return NutGrade(name, source, diameter_max * length_m, proof_heavy_hex * stress_pa)


_UNITS = {"mm, MPa": (MILLIMETRE_M, MPA_PA), "in, ksi": (INCH_M, KSI_PA)}


def _with_short_names(
    grades: Iterable[_Grade],
) -> Mapping[str, _Grade]:
    """Index grades by full name and by the part after the standard's number."""
    return MappingProxyType(
        {key: grade for grade in grades for key in (grade.name, grade.name.split()[-1])}
    )


BOLT_GRADES = _with_short_names(_bolt_grade(**row) for row in TABLES["bolt_grade"])
"""Bolt grades by full and by short name, such as ``A193 B7`` and ``B7``."""

NUT_GRADES = _with_short_names(_nut_grade(**row) for row in TABLES["nut_grade"])
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
