"""Read the catalogue of causes, which is data: `catalogue.toml` beside this file.

Each cause must have every field, its own code, and only words that are known here.

Units: defaults of parameters are SI by their dimension word.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Literal, NamedTuple

from pydantic import ConfigDict, Field, StrictBool, TypeAdapter, ValidationError, with_config

AppliesTo = Literal["bolt", "side", "floor", "bus", "process"]
Dimension = Literal["length", "angle", "torque", "pressure", "number", "time", "ratio"]
Sentence = Annotated[str, Field(pattern=r"\S")]

FILE = Path(__file__).with_name("catalogue.toml")


class CatalogueError(Exception):
    """The catalogue does not say what it must; told with the cause and the key."""


class Quantity(NamedTuple):
    """A parameter of a cause: its dimension, and its value where a case does not give one."""

    dimension: Dimension
    default: float


@with_config(ConfigDict(extra="forbid"))
@dataclass(frozen=True, slots=True)
class CauseKind:
    """One entry of the catalogue."""

    name: str
    code: Annotated[str, Field(pattern=r"^CAU\d{3}$")]
    """`CAU` and three digits, never reused."""
    text: Sentence
    """The cause in one sentence."""
    physics: Sentence
    """What the simulated world does with it."""
    applies_to: AppliesTo
    shows_as: tuple[str, ...]
    """Fault kinds by which it may show; a cause may also go unseen."""
    detected: Sentence
    """What tells it apart while the work goes on."""
    signature: Sentence
    """What it leaves in curves and records."""
    recovery: Sentence
    """What is accepted as a way on."""
    retried: StrictBool
    """Whether that way may be tried without asking a person."""
    source: Sentence
    parameters: Mapping[str, Quantity] = field(default_factory=dict)
    times: Annotated[int, Field(strict=True, ge=1)] | None = None
    """How often it acts where a case does not say; None for as long as it lasts."""
    placed: StrictBool = False
    """Whether a case must name the party that it acts on."""


_CAUSES = TypeAdapter(dict[str, CauseKind])


def read_catalogue(text: str) -> Mapping[str, CauseKind]:
    """Return the causes of a catalogue by name, in its order.

    Raises:
        CatalogueError: a key is missing, unknown or not of its kind, or a code is given twice.
    """
    try:
        tables = tomllib.loads(text)
        kinds = _CAUSES.validate_python(
            {name: {**one, "name": name} for name, one in tables.items()}
        )
    except tomllib.TOMLDecodeError as error:
        raise CatalogueError(f"{FILE.name}: not TOML: {error}; mend it there") from error
    except ValidationError as error:
        raise CatalogueError(f"{FILE.name}: {error}; mend it there") from error
    owners: dict[str, str] = {}
    for kind in kinds.values():
        if (other := owners.setdefault(kind.code, kind.name)) != kind.name:
            what = f"is {kind.code}, as of '{other}', must be its own"
            raise CatalogueError(f"{FILE.name}: cause '{kind.name}': 'code' {what}; mend it there")
    return MappingProxyType(kinds)


CATALOGUE = read_catalogue(FILE.read_text(encoding="utf-8"))
