"""What stands in one row of the record store, without the database.

Units: torque newton metre, pressure pascal, angle radian, time second; ``at`` and ``started`` are
UTC, RFC 3339.
"""

from dataclasses import dataclass

from coordinator.records.windows import Calibration, Windows


@dataclass(frozen=True, slots=True)
class Run:
    """A run, as its records name it."""

    run: str
    joint: str
    sequence: str
    plan_digest: str = ""
    started: str = ""
    simulated: bool = True
    tolerance: float = 0.05
    phase: str = ""
    """How it ended; empty while it has not."""
    reason: str = ""
    windows: Windows | None = None
    """What its records are judged by; None for the tolerance alone."""
    tools: tuple[Calibration, ...] | None = None
    """The tools of both sides; None if nothing was noted."""


@dataclass(frozen=True, slots=True)
class StoredRecord:
    """One bolt, round and attempt, with its trace and its verdict."""

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
    results: tuple[tuple[str, float], ...]
    trace_time_s: tuple[float, ...]
    trace_torque_nm: tuple[float, ...]
    trace_pressure_pa: tuple[float, ...]
    trace_angle_rad: tuple[float, ...]
    verdict: str
    reasons: tuple[str, ...]
    digest: str


@dataclass(frozen=True, slots=True)
class LaterJudgement:
    """What a record was judged to be afterwards, beside its first verdict."""

    seq: int
    run: str
    record: int
    windows: Windows
    verdict: str
    reasons: tuple[str, ...]
    who: str
    at: str
    digest: str = ""


@dataclass(frozen=True, slots=True)
class RecordFilter:
    """Which records are wanted; None for any."""

    run: str | None = None
    joint: str | None = None
    side: str | None = None
    bolt: int | None = None
    kind: str | None = None
    round: int | None = None
    outcome: str | None = None
    verdict: str | None = None
    simulated: bool | None = None
    tool: str | None = None
    fault: str | None = None
    sequence: str | None = None
    since: str | None = None
    """Not before this moment or day, RFC 3339."""
    until: str | None = None
    """Not after this moment; a day counts to its end."""
