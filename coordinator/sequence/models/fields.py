"""Say how single values of a file are checked: names, references, quantities, dates.

Each kind of refusal has a SEQ code of its own.

Units: quantities become SI floats, times whole microseconds.
"""

import re
from collections.abc import Callable
from datetime import date
from enum import StrEnum
from typing import Annotated, Any, ClassVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema
from pydantic_core import PydanticCustomError

from coordinator.sequence.form.quantities import (
    Dimension,
    QuantityError,
    parse_quantity,
    parse_time_us,
)

NAME_PATTERN = r"[a-z][a-z0-9_]{0,39}"
RESERVED = ("all", "coordinator", "floor", "joint", "own_bolt", "pair", "round")
"""Loops and the joint as they are referred to, and senders and receivers of messages."""

TIME_US_MAX = 366 * 24 * 3600 * 1_000_000
"""Chosen: longer than any job; keeps times within the whole numbers of every reader of messages."""
MEASURES = "x-measures"
"""Key under which a schema carries what a quantity measures until it is told in words."""

_NAME = re.compile(NAME_PATTERN)


class Strict(BaseModel):
    """A mapping of the file: no conversion, no unknown key, not changed afterwards."""

    model_config = ConfigDict(
        strict=True,
        extra="forbid",
        frozen=True,
        populate_by_name=False,
        use_attribute_docstrings=True,  # what stands below a key is what an editor shows of it
    )
    KIND: ClassVar[str] = ""
    """Kind of file, of a model that is a whole file."""


def one_of(words: type[StrEnum]) -> tuple[object, object]:
    """Return how a field takes one of the words of an enumeration, and how a schema says so."""
    schema = {"enum": [word.value for word in words], "type": "string"}
    return Field(strict=False), WithJsonSchema(schema)


def refusal(code: str, what: str, must: str, do: str) -> PydanticCustomError:
    """Return the error by which a field refuses its value under one of our codes."""
    # pydantic wants the template as a literal; the parts travel in the context.
    return PydanticCustomError(
        "ours",
        "{what}, {must}; {do} [{code}]",
        {"code": code, "what": what, "must": must, "do": do},
    )


def _check_name(name: str) -> str:
    if not _NAME.fullmatch(name):
        must = "must be small letters, digits and underscores, a letter first, 40 at most"
        raise refusal("SEQ010", f"name is {name!r}", must, "rename it")
    if name in RESERVED:
        must = "must not be one of the reserved names " + ", ".join(RESERVED)
        raise refusal("SEQ010", f"name is {name!r}", must, "rename it")
    return name


def _quantity(dimension: Dimension) -> Callable[[object], float]:
    def check(value: object) -> float:
        try:
            number = parse_quantity(value, dimension)
        except QuantityError as error:
            raise refusal(error.code, error.what, error.must, error.do) from error
        _check_sign(value, number, positive=True)
        return number

    return check


def _check_sign(value: object, number: float, *, positive: bool) -> None:
    if number < 0 or (positive and number == 0):
        must = "must be above zero" if positive else "must not be below zero"
        raise refusal("SEQ009", f"value is {value!r}", must, "correct the value")


def _time(*, positive: bool) -> Callable[[object], int]:
    def check(value: object) -> int:
        try:
            number = parse_time_us(value)
        except QuantityError as error:
            raise refusal(error.code, error.what, error.must, error.do) from error
        _check_sign(value, number, positive=positive)
        if number > TIME_US_MAX:
            raise refusal("SEQ009", f"value is {value!r}", "must be at most a year", "shorten it")
        return number

    return check


def _date(value: object) -> date:
    try:
        return date.fromisoformat(str(value))
    except ValueError as error:
        must, do = "must be a date", "write it like 2027-08-03"
        raise refusal("SEQ008", f"value is {value!r}", must, do) from error


def _written(value: object) -> object:
    if isinstance(value, str | int | float):
        return value
    must = "must be a number, a quantity, a word or a reference"
    raise refusal("SEQ008", "value is no single value", must, "write one value")


def quantity_schema(dimension: Dimension, example: str) -> dict[str, Any]:
    """Return the schema of a quantity: its form, and under `MEASURES` what it measures."""
    written: dict[str, Any] = {
        "type": "string",
        MEASURES: dimension.value,
        "pattern": r"^\+?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,3})?\s*[A-Za-zµμ°%].{0,40}$",
    }
    return written | ({"examples": [example]} if example else {})


def _schema(dimension: Dimension, example: str) -> WithJsonSchema:
    return WithJsonSchema(quantity_schema(dimension, example))


def _measured(dimension: Dimension, example: str) -> tuple[BeforeValidator, WithJsonSchema]:
    """Return how a field takes a quantity above zero, and how a schema says so."""
    return BeforeValidator(_quantity(dimension)), _schema(dimension, example)


_NAME_SCHEMA: dict[str, Any] = {
    "type": "string",
    "pattern": f"^{NAME_PATTERN}$",
    "not": {"enum": list(RESERVED)},
}

Name = Annotated[str, AfterValidator(_check_name), WithJsonSchema(_NAME_SCHEMA)]
"""A name that the author gives."""

Reference = Annotated[str, WithJsonSchema({"type": "string", "pattern": f"^{NAME_PATTERN}$"})]
"""A name that is declared elsewhere; rules tell when it is not."""

Torque = Annotated[float, *_measured(Dimension.TORQUE, "2.5 kN.m")]
Length = Annotated[float, *_measured(Dimension.LENGTH, "60 mm")]
Angle = Annotated[float, *_measured(Dimension.ANGLE, "2 deg")]
Pressure = Annotated[float, *_measured(Dimension.PRESSURE, "52.5 ksi")]
Force = Annotated[float, *_measured(Dimension.FORCE, "20 kN")]
Share = Annotated[float, *_measured(Dimension.SHARE, "30 %")]
Duration = Annotated[int, BeforeValidator(_time(positive=True)), _schema(Dimension.TIME, "5 min")]
Instant = Annotated[int, BeforeValidator(_time(positive=False)), _schema(Dimension.TIME, "412.3 s")]
Day = Annotated[date, BeforeValidator(_date), WithJsonSchema({"type": "string", "format": "date"})]
Written = Annotated[str | int | float | bool, BeforeValidator(_written)]
"""A value whose meaning the action or the cause decides: a number, a quantity, a reference."""
