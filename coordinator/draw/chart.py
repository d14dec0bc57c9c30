"""Hold what a picture of a sequence shows, before anybody decides where on the paper it stands.

A gate stands by the same key in every lane that takes part in it.
"""

from dataclasses import dataclass
from typing import Literal

Key = tuple[str, tuple[str, ...]]
"""A barrier's name and the loops around it."""


@dataclass(frozen=True, slots=True)
class Box:
    """A step, or a hold or witness point."""

    title: str
    details: tuple[str, ...] = ()
    """What it is given, what it must reach, what follows its faults."""
    despite: tuple[str, ...] = ()
    """Interlocks during which it may move all the same."""
    mounts: str = ""
    """The tool that it puts on the arm; empty if it changes none."""
    id: str = ""
    after: tuple[str, ...] | None = None
    """Ids of the same list that it waits for; None for the step above."""
    place: str = ""
    """`file:line` at which it is written."""
    is_point: bool = False
    """Whether a person releases or witnesses it, instead of a party doing it."""


@dataclass(frozen=True, slots=True)
class Gate:
    """A lane's place in a barrier."""

    key: Key
    title: str
    details: tuple[str, ...] = ()
    opens: str = ""
    """Name of the barrier that closes the paired span that opens here."""
    is_close: bool = False
    """Whether a paired span ends here."""
    place: str = ""
    """`file:line` at which it is written."""


@dataclass(frozen=True, slots=True)
class Frame:
    """A loop or a block around steps."""

    kind: Literal["loop", "block"]
    title: str
    inside: "tuple[Mark, ...]"
    despite: tuple[str, ...] = ()
    """Interlocks during which everything inside may move all the same."""


Mark = Box | Gate | Frame


@dataclass(frozen=True, slots=True)
class Lane:
    """One party with everything it does, from top to bottom."""

    name: str
    is_arm: bool
    tools: tuple[str, ...]
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class BoltPlace:
    """A bolt on the circle: its number from 1, its side, and its place in the order of pulling."""

    number: int
    lane: int
    turn: int


@dataclass(frozen=True, slots=True)
class Note:
    """A list that stands below the lanes."""

    heading: str
    rows: tuple[tuple[str, str], ...]
    """(name, what is said about it)"""


@dataclass(frozen=True, slots=True)
class Chart:
    """The whole picture."""

    title: str
    text: str
    facts: tuple[str, ...]
    lanes: tuple[Lane, ...]
    bolts: tuple[BoltPlace, ...] = ()
    notes: tuple[Note, ...] = ()
    is_unrolled: bool = False
