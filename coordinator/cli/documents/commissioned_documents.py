"""Documents of the verbs below `commission`."""

from typing import Any

from coordinator.cli.documents.document import Document, Part
from coordinator.commissioning.acceptance import Seen
from coordinator.commissioning.cycle import Cycle
from coordinator.commissioning.registers import Aside, Signed


class AcceptanceDocument(Document):
    """`commission arm`."""

    cell: str
    party: str
    by: str
    at: str
    simulated: bool | None
    seen: list[Seen]
    passed: bool
    failed: list[str]
    """Codes of the lines that were not kept."""


class Shown(Part):
    """A state in which a point was seen."""

    state: str
    how: str
    by: str
    at: str
    why: str
    reference: str


class PointRow(Part):
    """A point of the sheet."""

    tag: str
    text: str
    expected: list[str]
    result: str
    missing: list[str]
    seen: list[Shown]
    digest: str


class PointsDocument(Document):
    """`commission points`."""

    cell: str
    files: dict[str, str]
    points: list[PointRow]


class Ticked(Part):
    """What journals of simulated, or of real, parties show of a cell."""

    result: str
    reference: str
    text: str


class MatrixCell(Part):
    """An interlock against a party."""

    name: str
    interlock: str
    kind: str
    cause: str
    effect: str
    action: str
    reason: str
    expected: Any
    digest: str
    simulated: Ticked
    real: Ticked


class MatrixDocument(Document):
    """`commission matrix`."""

    cell: str
    plan: str
    counted: str
    """Whose ticks count: simulated or real."""
    passed: int
    failed: int
    untested: int
    cells: list[MatrixCell]


class PunchItem(Part):
    """One thing to be put right."""

    number: int
    what: str
    found: str
    opened: str
    closed: str
    open: bool


class CycleTimes(Part):
    """Cycle times, waits charged to whoever caused them."""

    sequences: dict[str, dict[str, float]]
    runs: list[Cycle]


class ListsDocument(Document):
    """`commission lists`."""

    cell: str
    punch: list[PunchItem]
    overrides: list[Aside]
    signed: list[Signed]
    cycle_time: CycleTimes
    unread: list[str]
    """Journals that could not be read."""


class PackDocument(Document):
    """`commission pack`."""

    folder: str
    files: list[str]
    manifest: str
    open: list[str]
    """What is not done yet."""
