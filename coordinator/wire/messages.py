"""The messages that cross the bus, as frozen dataclasses; the contract every party is written to.

Attribute names of `Message` follow CloudEvents 1.0 once encoded (see `codec.py`).

Units: ``*_us`` on the wire are whole microseconds of the cell's clock (Unix epoch on a real bus,
zero at the start in virtual time); torque newton metre, pressure pascal, angle radian.
Invariants: WR1, a command is never retained and always expires; WR2, each report names its command.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Value = bool | int | float | str

ArmStateName = Literal["held", "idle", "armed", "running", "holding"]

OnHold = Literal["stop", "finish", "relieve", "retract"]
"""Stop where it is; finish the short action first; stop and let the pressure off; stop, let the
pressure off and draw the tool back."""

RefusalReason = Literal[
    "expired",  # arrived after its expiry
    "retained",  # a command must never come from the broker's memory
    "duplicate",  # already executed or running: the first outcome is reported again too
    "outdated",  # an older command number than one already obeyed, or an older epoch
    "unknown",  # asked about a command that never arrived
    "never_begun",  # armed or released, and dropped before its start: nothing of it was done
    "unready",  # held, running or armed: not in a state to take this
    "no_lease",
    "interlock",  # a floor signal the arm watches itself is not good
    "unfit",  # wrong tool, unknown action, parameter missing or beyond a cap
]


@dataclass(frozen=True, slots=True)
class Do:
    """Do one action; with `barrier` set, get ready, confirm with `Armed` and wait for `Release`."""

    command: int
    step: str
    action: str
    parameters: Mapping[str, Value] = field(default_factory=dict)
    barrier: str | None = None
    on_hold: OnHold = "stop"


@dataclass(frozen=True, slots=True)
class Release:
    """Start an armed command at `start_us`, neither earlier nor later."""

    command: int
    start_us: int


@dataclass(frozen=True, slots=True)
class Disarm:
    """Drop an armed command: it is never begun, and the ledger says so from then on."""

    command: int
    reason: str


@dataclass(frozen=True, slots=True)
class Hold:
    """Come to rest as the running action says, then report `Held` with the same number.

    `number` comes from the series that commands are numbered from: what is older is outdated.
    """

    reason: str
    number: int = 0


@dataclass(frozen=True, slots=True)
class MakeReady:
    """Leave held; moves nothing. Answered with `Ready` and the same number."""

    number: int = 0


@dataclass(frozen=True, slots=True)
class Ask:
    """Say again what became of a command: its last report, or `Refused` with reason unknown.

    Of a command that was dropped before its start the last report is `Refused`, never_begun.
    """

    command: int


@dataclass(frozen=True, slots=True)
class AskState:
    """Say at once how you stand: answered with a `PartyState`, by the floor with its signals too.

    Sent where messages of the party were found missing; moves nothing.
    """


@dataclass(frozen=True, slots=True)
class Lease:
    """Arms may move until `until_us`; without a fresh one they hold by themselves."""

    until_us: int
    torque_nm_max: float | None = None
    """No command may ask for more while this lease is the last one heard; None for no cap."""
    speed_share_max: float = 1.0
    """Share of its full speed that an arm keeps to."""


@dataclass(frozen=True, slots=True)
class Accepted:
    command: int


@dataclass(frozen=True, slots=True)
class Refused:
    command: int
    reason: RefusalReason
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Armed:
    command: int


@dataclass(frozen=True, slots=True)
class Started:
    """A released command began to act at `started_us` (the party's own measurement)."""

    command: int
    started_us: int


@dataclass(frozen=True, slots=True)
class Progressed:
    """Still at work; while pulling, with what the tool feels. Quality of service 0."""

    command: int
    torque_nm: float | None = None
    pressure_pa: float | None = None
    angle_rad: float | None = None


@dataclass(frozen=True, slots=True)
class Trace:
    """What the tool felt, sampled; all columns have one length, angle counted from the start."""

    time_s: tuple[float, ...] = ()
    torque_nm: tuple[float, ...] = ()
    pressure_pa: tuple[float, ...] = ()
    angle_rad: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Finished:
    command: int
    results: Mapping[str, Value] = field(default_factory=dict)
    trace: Trace | None = None


@dataclass(frozen=True, slots=True)
class Faulted:
    """The action ended badly; the party stands still and waits."""

    command: int
    fault: str
    evidence: Mapping[str, Value] = field(default_factory=dict)
    trace: Trace | None = None


@dataclass(frozen=True, slots=True)
class Interrupted:
    """A hold or a lapse of the lease ended the command before its end."""

    command: int
    evidence: Mapping[str, Value] = field(default_factory=dict)
    trace: Trace | None = None


@dataclass(frozen=True, slots=True)
class Held:
    """Standing still, and staying so until `MakeReady`; number 0 if nobody asked for it."""

    reason: str
    number: int = 0


@dataclass(frozen=True, slots=True)
class Ready:
    """Left held; will take commands."""

    number: int = 0


@dataclass(frozen=True, slots=True)
class PartyState:
    """Heartbeat of a party, retained; its will says ``online`` false."""

    online: bool
    boot: int = 0
    """Changes whenever the party's process starts anew."""
    state: ArmStateName = "held"
    simulated: bool = True
    running: int = 0
    """Command now armed or running, 0 for none."""
    last_command: int = 0
    last_outcome: Literal["", "finished", "faulted", "interrupted"] = ""
    tool: str = ""
    missed: int = 0
    """Messages of the coordinator and the floor that it found missing since its start."""


@dataclass(frozen=True, slots=True)
class FloorSignals:
    """Every floor signal with its value; None for unknown. Retained, repeated at a fixed period."""

    signals: Mapping[str, bool | None]


@dataclass(frozen=True, slots=True)
class SimulatedFacts:
    """Facts about the simulated steel, each with one writer; never sent by a real party."""

    facts: Mapping[str, Value]


Command = Do | Release | Disarm | Hold | MakeReady | Ask | AskState
Report = (
    Accepted
    | Refused
    | Armed
    | Started
    | Progressed
    | Finished
    | Faulted
    | Interrupted
    | Held
    | Ready
)
Body = Command | Lease | Report | PartyState | FloorSignals | SimulatedFacts


@dataclass(frozen=True, slots=True)
class Message:
    """One body with its envelope."""

    source: str
    """`coordinator`, `floor`, or the side's name."""
    subject: str
    """The party it concerns: whom a command is for, whom a report is from; `all` for leases."""
    sequence: int
    """Grows by one per source since its start."""
    epoch: int
    """The coordinator's epoch; a party repeats the one it obeys."""
    sent_us: int
    body: Body
    expires_us: int | None = None
    ordinal: int | None = None
    """Grows by one for each message of the source about this subject since its start, so that a
    listener sees what is missing; None on wills, on simulated facts and from older parties."""
