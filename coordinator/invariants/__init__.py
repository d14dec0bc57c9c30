"""Read the catalogue of invariants: one code and one text for each, which everybody may quote.

It is data for messages, reports and guides; it decides nothing. Judges share its words, never
the code that upholds them.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Invariant:
    """One thing that always holds."""

    code: str
    text: str
    property: str = ""
    """The name under which the proof reports it; empty where the proof does not judge it."""
    upheld: str = ""
    """The file of an author that upholds it; empty where the code does."""


def read_catalogue(text: str) -> Mapping[str, Invariant]:
    """Return the invariants of a catalogue by code, in its order.

    Raises:
        tomllib.TOMLDecodeError: A code is declared twice, or this is no TOML.
        TypeError: An entry has other fields than those of `Invariant`.
    """
    entries = tomllib.loads(text)
    return MappingProxyType({code: Invariant(code, **entry) for code, entry in entries.items()})


INVARIANTS = read_catalogue((files(__package__) / "catalogue.toml").read_text(encoding="utf-8"))


def texts_of(*codes: str) -> Mapping[str, str]:
    """Return the texts of invariants by code."""
    return MappingProxyType({code: INVARIANTS[code].text for code in codes})
