"""Documents of `dryrun`, `faults`, `fuzz` and `replay`."""

from typing import Any, Literal

from coordinator.cli.documents.document import Document, Part
from coordinator.core.plan import Caps
from coordinator.live.alarms import Alarm
from coordinator.live.hold_stories import Story
from coordinator.rehearse.fault_table import FaultRow
from coordinator.rehearse.look_ahead import Outlook


class Notice(Part):
    """Something told while a run went on."""

    at_us: int
    severity: str
    kind: str
    text: str


class Foreseen(Part):
    """What each answer to a prompt leads to."""

    at_us: int
    prompt: int
    answers: list[Outlook]


class Gap(Part):
    """How near two things came."""

    gap_m: float
    at_s: float
    first: str
    second: str


class DryRunDocument(Document):
    """`dryrun`."""

    ended: str
    """Phase at the end, such as complete or held."""
    reason: str
    time_us: int
    open_points: list[str]
    """What keeps the joint from being accepted."""
    deliveries: int
    """Messages delivered."""
    trace_sha256: str
    """The same seed and files give the same."""
    plan_digest: str
    notices: list[Notice]
    foreseen: list[Foreseen]
    simulated: Literal[True]
    caps: Caps
    records: int
    seed: int
    mode: str
    holds: list[Story]
    """Each hold with what came before and after it."""
    alarms: list[Alarm]
    """Alarms that still stand."""
    least_clearance: list[Gap]


class Order(Part):
    """A stretch of one side in another order."""

    side: str
    before: list[str]
    after: list[str]


class BestOrderDocument(Document):
    """`dryrun --best-order`."""

    free: int
    """Stretches whose order is free; without any there are no other keys."""
    before_s: float | None = None
    after_s: float | None = None
    bound_s: float | None = None
    """No order can be shorter."""
    shortest: bool | None = None
    shown: str | None = None
    """How the bound is known."""
    rehearsed: int | None = None
    proved: bool | None = None
    orders: list[Order] | None = None
    simulated: Literal[True] | None = None


class FaultsDocument(Document):
    """`faults`."""

    simulated: Literal[True]
    seed: int
    rows: list[FaultRow]
    modes: int
    """Causes tried at steps."""


class CampaignDocument(Document):
    """`fuzz`."""

    stopped: bool
    folder: str
    failures: list[str]
    """Cases that failed, as files for `replay`."""
    cases: int
    whole: int
    """Runs that came to their end."""
    canaries: dict[str, int]
    """Planted faults that the oracles reported, and missed."""
    ended: dict[str, int]
    failed: dict[str, int]
    """How often each invariant was broken."""
    clean_days: dict[str, str]
    coverage: dict[str, list[int]]
    """Met and possible."""
    totals: dict[str, int]
    delay_s: dict[str, dict[str, float]]
    """From a cause to its detection."""
    worksheet: list[dict[str, str]]
    health: dict[str, Any]


class ReplayDocument(Document):
    """`replay`."""

    ended: str
    broken: list[str]
    """Invariants that the replay broke."""
    index: int
    at_us: int
    trace_sha256: str
    differs: list[str]
    """In what the replay differs from the case."""


class ToTestDocument(Document):
    """`replay --to-test`."""

    case: str
    test: str
