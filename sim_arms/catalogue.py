"""Read the catalogue of causes, which is data: `catalogue.toml` beside this file.

Units: defaults of parameters are SI by their dimension word.
Invariants: each cause has every field, its own code, and only words that are known here.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal, get_args

AppliesTo = Literal["bolt", "side", "floor", "bus", "process"]
Dimension = Literal["length", "angle", "torque", "pressure", "number", "time", "ratio"]

FILE = Path(__file__).with_name("catalogue.toml")


class CatalogueError(Exception):
    """The catalogue does not say what it must; told with the cause and the key."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A parameter of a cause: its dimension, and its value where a case does not give one."""

    dimension: Dimension
    default: float


@dataclass(frozen=True, slots=True)
class CauseKind:
    """One entry of the catalogue."""

    name: str
    code: str
    """`CAU` and three digits, never reused."""
    text: str
    """The cause in one sentence."""
    physics: str
    """What the simulated world does with it."""
    applies_to: AppliesTo
    parameters: Mapping[str, Quantity]
    shows_as: tuple[str, ...]
    """Fault kinds by which it may show; a cause may also go unseen."""
    detected: str
    """What tells it apart while the work goes on."""
    signature: str
    """What it leaves in curves and records."""
    recovery: str
    """What is accepted as a way on."""
    retried: bool
    """Whether that way may be tried without asking a person."""
    source: str
    times: int | None = None
    """How often it acts where a case does not say; None for as long as it lasts."""
    placed: bool = False
    """Whether a case must name the party that it acts on."""


def read_catalogue(text: str) -> Mapping[str, CauseKind]:
    """Return the causes of a catalogue by name, in its order.

    Raises:
        CatalogueError: a key is missing, unknown or not of its kind, or a code is given twice.
    """
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise CatalogueError(f"{FILE.name}: not TOML: {error}; mend it there") from error
    kinds = {name: _kind(name, table) for name, table in tables.items()}
    owners: dict[str, str] = {}
    for kind in kinds.values():
        if (other := owners.setdefault(kind.code, kind.name)) != kind.name:
            raise _wrong(kind.name, "code", f"is {kind.code}, as of '{other}', must be its own")
    return MappingProxyType(kinds)


# Any: what TOML holds has no type until each key was looked at here.
def _kind(name: str, table: Any) -> CauseKind:
    if not isinstance(table, dict):
        raise _wrong(name, "table", "must be a table of keys")
    known = [field.name for field in fields(CauseKind) if field.name != "name"]
    for key in table:
        if key not in known:
            raise _wrong(name, key, f"is unknown, must be one of {', '.join(known)}")
    values = {key: _word(name, key, table) for key in _WORDS}
    if not (values["code"].startswith("CAU") and values["code"][3:].isdecimal()):
        raise _wrong(name, "code", f"is {values['code']!r}, must be CAU and three digits")
    if values["applies_to"] not in get_args(AppliesTo):
        raise _wrong(name, "applies_to", f"must be one of {', '.join(get_args(AppliesTo))}")
    retried, placed, times = table.get("retried"), table.get("placed", False), table.get("times")
    if not (isinstance(retried, bool) and isinstance(placed, bool)):
        raise _wrong(name, "retried", "and 'placed' must be true or false")
    if times is not None and (not isinstance(times, int) or times < 1):
        raise _wrong(name, "times", f"is {times!r}, must be a whole number above zero")
    shows_as = table.get("shows_as")
    if not (isinstance(shows_as, list) and all(isinstance(one, str) for one in shows_as)):
        raise _wrong(name, "shows_as", "must be a list of fault kinds, empty for none")
    return CauseKind(
        name=name,
        parameters=MappingProxyType(_parameters(name, table.get("parameters", {}))),
        shows_as=tuple(shows_as),
        retried=retried,
        times=times,
        placed=placed,
        **values,
    )


_WORDS = (
    *("code", "text", "physics", "applies_to", "detected", "signature", "recovery", "source"),
)


def _word(name: str, key: str, table: dict[str, Any]) -> Any:
    value = table.get(key)
    if not isinstance(value, str) or not value.strip():
        raise _wrong(name, key, f"is {value!r}, must be a sentence or a word")
    return value


def _parameters(name: str, table: Any) -> dict[str, Quantity]:
    if not isinstance(table, dict):
        raise _wrong(name, "parameters", "must be a table of [dimension, default]")
    found: dict[str, Quantity] = {}
    for key, pair in table.items():
        match pair:
            case [str() as dimension, int() | float() as default] if dimension in _DIMENSIONS:
                found[key] = Quantity(_DIMENSIONS[dimension], float(default))
            case _:
                must = f"must be one of {', '.join(_DIMENSIONS)} and a number"
                raise _wrong(name, f"parameters.{key}", f"is {pair!r}, {must}")
    return found


_DIMENSIONS: Mapping[str, Dimension] = {word: word for word in get_args(Dimension)}


def _wrong(name: str, key: str, what: str) -> CatalogueError:
    return CatalogueError(f"{FILE.name}: cause '{name}': '{key}' {what}; mend it there")


CATALOGUE = read_catalogue(FILE.read_text(encoding="utf-8"))
