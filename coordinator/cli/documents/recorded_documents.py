"""Documents of the verbs below `records`."""

from typing import Any

from coordinator.cli.documents.document import Document, Part
from coordinator.records.lookback import Touched, Trend
from coordinator.records.rows import StoredRecord
from coordinator.timeline.build import StepDuration


class RecordRow(Part):
    """A torque record without its trace."""

    seq: int
    run: str
    joint: str
    sequence: str
    side: str
    command: int
    step: str
    bolt: int
    kind: str
    round: int
    attempt: int
    outcome: str
    fault: str
    target_nm: float
    torque_nm: float | None
    pressure_pa: float | None
    angle_rad: float | None
    simulated: bool
    tool: str
    at: str
    results: list[tuple[str, float]]
    verdict: str
    reasons: list[str]
    digest: str


class RecordsDocument(Document):
    """`records list`."""

    records: list[RecordRow]


class RecordDocument(Document):
    """`records show`."""

    record: StoredRecord


class VerifyDocument(Document):
    """`records verify`."""

    rows: int
    head: str
    """Digest of the last row: compare it with the one kept elsewhere."""
    finding: str | None
    """What is wrong first."""
    findings: list[str]
    """Everything that is wrong with chain, signed heads and journals."""
    not_compared: list[str]
    """Runs whose journals this version cannot decide again: no finding, and no proof either."""
    signed_heads: int
    """How many were compared."""


class ExportDocument(Document):
    """`records export`."""

    records: int
    file: str
    format: str


class Judgement(Part):
    """A record under other windows."""

    record: int
    run: str
    bolt: int
    kind: str
    first: str
    now: str
    reasons: list[str]


class RejudgeDocument(Document):
    """`records re-judge`."""

    windows: dict[str, Any]
    judged: list[Judgement]
    differ: int


class LookBackDocument(Document):
    """`records look-back`; false where the tool has touched a joint."""

    touched: list[Touched]


class TrendsDocument(Document):
    """`records trends`."""

    runs: list[Trend]


class DurationsDocument(Document):
    """`records trends --steps`."""

    runs: int
    steps: list[StepDuration]
    lost: list[str]
    """Journals that could not be read."""


class CertificateDocument(Document):
    """`records certificate`."""

    file: str
    verdict: str
