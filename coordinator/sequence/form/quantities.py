"""Decide the SI value of a quantity that is written with its unit, such as `2.5 kN.m`.

Units: results are SI floats (m, s, N, N*m, Pa, rad, fraction); times also whole microseconds.
Invariants: SQ6, a number without a unit is never taken for a quantity, and no arithmetic is
evaluated.
"""

import re
from difflib import get_close_matches
from enum import StrEnum
from functools import lru_cache
from math import isfinite
from typing import TYPE_CHECKING

from coordinator.packaged import read_tables

if TYPE_CHECKING:
    import pint


class Dimension(StrEnum):
    """What a quantity measures."""

    ANGLE = "angle"
    FORCE = "force"
    LENGTH = "length"
    PRESSURE = "pressure"
    SHARE = "share"
    TEMPERATURE = "temperature"
    TIME = "time"
    TORQUE = "torque"


_WORDS = read_tables("coordinator.sequence.form", "words")
_SI = {Dimension(word): str(known["si"]) for word, known in _WORDS["dimensions"].items()}
_USUAL: list[str] = _WORDS["units"]["usual"]
_WRITTEN = re.compile(r"([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d{1,3})?)\s*(\S.{0,40})")
_POWER = r"(?:\s*(?:\^|\*\*)\s*-?[1-9](?![0-9]))?"
_WORD = rf"[A-Za-zµμ°%][A-Za-z_µμ°%]*{_POWER}"
_UNIT = re.compile(rf"{_WORD}(?:\s*[·.*/]\s*{_WORD}|\s+{_WORD})*")
# One power of one digit to a word: a tower of powers would keep the unit library at work for ever.
_RUN_TOGETHER = re.compile(r"([kM]?N)m")
_ENERGY = re.compile(r"joule|calorie|british_thermal_unit|watt|electron_volt")


class QuantityError(ValueError):
    """A quantity cannot be used; says what is, what must be and what to do.

    Attributes:
        code: SEQ008, SEQ011 or SEQ012.
    """

    def __init__(self, code: str, what: str, must: str, do: str) -> None:
        """Keep the parts of the message."""
        super().__init__(f"{what}, {must}; {do} [{code}]")
        self.code = code
        self.what = what
        self.must = must
        self.do = do


def parse_quantity(text: object, dimension: Dimension) -> float:
    """Return the SI value of a number with its unit.

    Args:
        text: What the author wrote, such as `2.5 kN.m`.
        dimension: What it must measure.

    Raises:
        QuantityError: SEQ008, not written as a number and a unit; SEQ011, the unit is unknown;
            SEQ012, it measures something else.
    """
    example: str = _WORDS["dimensions"][dimension]["example"]
    must = f"must be {_article(dimension)} {dimension.value} with its unit"
    if isinstance(text, int | float) and not isinstance(text, bool):
        do = f"add the unit, as in {example!r}"
        raise QuantityError("SEQ012", f"{text} has no unit", must, do)
    written = _WRITTEN.fullmatch(text.strip()) if isinstance(text, str) else None
    if written is None:
        raise QuantityError("SEQ008", f"value is {text!r}", must, f"write it like {example!r}")
    factor, kind = unit_factor(written[2].strip())
    if kind is not dimension:
        measured = "something else" if kind is None else f"{_article(kind)} {kind.value}"
        what = f"{text!r} is {measured}"
        together = _RUN_TOGETHER.fullmatch(written[2].strip())
        if dimension is Dimension.TORQUE and together is not None:
            # One word is another unit than the product of two, or none.
            do = f"did you mean '{written[1]} {together[1]}.m'?"
            raise QuantityError("SEQ012", what, must, do)
        raise QuantityError("SEQ012", what, must, f"write it like {example!r}")
    value = float(written[1]) * factor
    if not isfinite(value):
        raise QuantityError("SEQ008", f"value is {text!r}", must, f"write it like {example!r}")
    return value


def parse_time_us(text: object) -> int:
    """Return a time in whole microseconds.

    Raises:
        QuantityError: As for `parse_quantity`.
    """
    return round(parse_quantity(text, Dimension.TIME) * 1_000_000)


@lru_cache(maxsize=256)
def unit_factor(unit: str) -> tuple[float, Dimension | None]:
    """Return the factor to SI of a unit and what it measures, None for none of ours.

    Raises:
        QuantityError: SEQ011, no such unit.
    """
    registry = _registry()
    expression = re.sub(r"[·.]", "*", unit).replace("%", "percent").replace("^", "**")
    try:
        if not _UNIT.fullmatch(unit):
            raise ValueError(unit)
        base = registry.Quantity(1.0, registry.parse_units(expression)).to_base_units()
    except Exception as error:
        # The parser of the unit library raises many kinds for a bad unit.
        raise _unknown_unit(unit) from error
    for dimension, name in _SI.items():
        target = registry.Quantity(1.0, registry.parse_units(name)).to_base_units()
        if base.units == target.units:
            is_energy = _ENERGY.search(str(registry.parse_units(expression))) is not None
            if dimension is Dimension.TORQUE and is_energy:
                return float(base.magnitude), None
            return float(base.magnitude / target.magnitude), dimension
    return float(base.magnitude), None


def _unknown_unit(unit: str) -> QuantityError:
    near = get_close_matches(unit, _USUAL, n=1)
    do = f"did you mean {near[0]!r}?" if near else f"choose from: {', '.join(_USUAL)}"
    return QuantityError("SEQ011", f"unit is {unit!r}", "must be a known unit", do)


@lru_cache(maxsize=1)
def _registry() -> "pint.UnitRegistry[float]":
    """Return the one unit registry, made when the first quantity is read: it takes a while."""
    # Imported here because the import costs more than reading a whole sequence.
    import pint

    return pint.UnitRegistry()


def _article(dimension: Dimension) -> str:
    return "an" if dimension is Dimension.ANGLE else "a"
