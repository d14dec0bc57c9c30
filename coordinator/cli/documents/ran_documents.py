"""Documents of `run`, `resume`, `timeline` and `gateway`."""

from typing import Any

from coordinator.cli.documents.document import Document, Part
from coordinator.core.plan import Caps
from coordinator.operate.where_was_i import Card
from coordinator.timeline.build import Divergence


class Stretch(Part):
    """A stretch of the critical path."""

    side: str
    kind: str
    name: str
    begin_us: int
    end_us: int


class TimelineDocument(Document):
    """`timeline`; false with `--with` where the two runs differ."""

    end_us: int
    waits_us: dict[str, int]
    """For whom, or for what, was waited how long."""
    critical: list[Stretch]
    divergence: Divergence | None
    """With `--with`: the first difference, null for none."""


class RunDocument(Document):
    """`run`, and `resume` where it went on."""

    ended: str
    """Phase at the end, such as complete or held."""
    reason: str
    run: str
    records: int
    elapsed_us: int
    open_points: list[str]
    """What keeps the joint from being accepted."""
    plan_digest: str
    caps: Caps
    where: Card | None = None
    """`resume`: where the run was left."""


class LookDocument(Document):
    """`resume --look`, and `resume` of a run that has ended."""

    where: Card
    changed: list[str]
    """What has changed in the files since the run began."""


class GatewayDocument(Document):
    """`gateway`, at its end."""


class SignalReading(Part):
    """How a signal is read."""

    value: bool | None
    source: str
    at: str
    found: Any
    quality: str
    age_us: int | None


class GatewayOnceDocument(Document):
    """`gateway --once`."""

    signals: dict[str, SignalReading]
