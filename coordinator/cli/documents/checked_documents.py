"""Documents of `check`."""

from typing import Any

from coordinator.cli.check.leaving_out import Dropped
from coordinator.cli.documents.document import Document, Part
from coordinator.sequence.form.diagnostics import Diagnostic


class Place(Part):
    """A place in a file; null where a step has none."""

    file: str | None
    line: int | None
    column: int | None


class ProofStep(Place):
    """A step of a counterexample."""

    lane: str | None
    words: str
    step: str
    is_cause: bool


class Stand(Place):
    """How a party stands at the end of a counterexample."""

    who: str
    state: str
    step: str
    waits: Any


class ProofEnd(Part):
    """How a counterexample ends."""

    phase: str
    reason: str
    stands: list[Stand]
    after_more_steps: Any
    can_still_happen: Any


class Broken(Place):
    """A property that a proof found broken, with its shortest course."""

    property: str
    text: str
    causes: Any
    path: Any
    steps: list[ProofStep]
    broken_by: list[ProofStep]
    end: ProofEnd | None
    picture: str | None = None
    case: str | None = None
    shown: bool | None = None


class Proof(Part):
    """What a proof of one file came to."""

    file: str
    proved: bool
    complete: bool
    causes: int
    states: int
    ending: Any
    stands_for: Any
    transitions: int
    depth: int | None
    violations: list[Broken]
    properties: dict[str, str]
    unreached: list[Any]
    seconds: float | None = None


class NearPlace(Part):
    """A place at which the arms come nearer than the cell allows."""

    gap_m: float
    parts: list[str]
    at_m: list[float]
    steps: list[str]
    pairs: int


class SpaceJudged(Part):
    """How near the arms of one file can come in any order of events."""

    file: str
    judged: bool
    clear: bool
    why_not: str | None = None
    least_m: float | None = None
    limit_m: float | None = None
    go_backs: int | None = None
    pairs: int | None = None
    states: int | None = None
    near: list[NearPlace] | None = None


class LeftOut(Part):
    """What depends on each thing that can be left out of a file."""

    file: str
    dropped: list[Dropped]


class CheckDocument(Document):
    """`check`."""

    good: list[str]
    """Files that keep every rule, and whose proof holds."""
    findings: list[Diagnostic]
    """Broken rules, each with its place."""
    proofs: list[Proof]
    """One for each sequence; empty with `--quick`."""
    clearances: list[SpaceJudged]
    """Likewise."""
    left_out: list[LeftOut] | None = None
    """With `--leave-out`."""
