"""Documents of the verbs about files: `joint`, `draw`, `compare`, `schema`, `contract`, `new`."""

from typing import Literal

from coordinator.cli.documents.document import Document, Part
from coordinator.compare.change import Change


class Figure(Part):
    """A figure of a joint."""

    figure: str
    value: float
    unit: str
    source: str


class Rounds(Part):
    """How many rounds one way of tightening takes."""

    needed: int | None
    window: float
    loads_n: list[list[float]]
    spread: list[float]
    tilt_rad_max: float
    gap_m_max: float


class JointDocument(Document):
    """`joint`."""

    beyond: list[str]
    """With `--calibration`: pressures outside the table."""
    joint: str
    figures: list[Figure]
    pairs: list[list[int]]
    """Bolts pulled together, in order."""
    cross_order: list[int]
    """With one tool."""
    rounds: dict[str, Rounds]
    drawn: list[str]
    """Files that `--figures` wrote."""


class DrawDocument(Document):
    """`draw`."""

    form: Literal["svg", "mermaid"]
    unrolled: bool
    written: str | None
    drawing: str | None
    """With `--out -`."""


class CompareDocument(Document):
    """`compare`; exit code 1 and `is_same` false where files differ."""

    kind: str
    is_same: bool
    changes: list[Change]


class SchemaDocument(Document):
    """`schema --out`; without it the schema itself is printed."""

    written: list[str]


class ContractDocument(Document):
    """`contract --out`; without it the AsyncAPI document itself is printed."""

    version: str
    files: list[str]


class BreaksDocument(Document):
    """`contract --against`."""

    was: str
    now: str
    breaking: list[str]


class BrokerDocument(Document):
    """`contract CELL --broker-config`."""

    files: list[str]


class NewDocument(Document):
    """`new`."""

    folder: str
    written: list[str]
