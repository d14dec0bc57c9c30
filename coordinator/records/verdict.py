"""Judge one record: accepted, rejected, or not decidable, with every reason for it.

A step that a target torque belongs to is judged by what the tool measured. A report alone, without
the samples behind it, decides nothing.

Units: torque newton metre, time second.
Source: the band of 5 % about the target is common practice, no source; a joint may set its own.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from coordinator.wire.messages import Trace

TOLERANCE = 0.05
"""Allowed difference from the target, as a fraction of it."""
AGREEMENT = 0.05
"""Allowed difference between reported torque and largest sample, as a fraction of the target."""
SAMPLES_MIN = 3
"""Chosen: fewer show no course, only points."""
WITH_TARGET = ("pull", "confirm", "check")
"""Kinds of record that prove a torque; the others prove that a movement came to its end."""


class Verdict(StrEnum):
    ACCEPTED = "accepted"
    REJECTED = "rejected"
    NOT_DECIDABLE = "not_decidable"


class Reason(StrEnum):
    """Why a record is not simply accepted."""

    FAULTED = "faulted"
    INTERRUPTED = "interrupted"
    REPLACED = "replaced"
    TORQUE_BELOW = "torque_below"
    TORQUE_ABOVE = "torque_above"
    TARGET_MISSING = "target_missing"
    TORQUE_MISSING = "torque_missing"
    SAMPLES_MISSING = "samples_missing"
    COLUMNS_UNEQUAL = "columns_unequal"
    TIME_NOT_RISING = "time_not_rising"
    TORQUE_DISAGREES = "torque_disagrees"


_REJECTING = (
    Reason.FAULTED,
    Reason.INTERRUPTED,
    Reason.REPLACED,
    Reason.TORQUE_BELOW,
    Reason.TORQUE_ABOVE,
)


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a record is judged by."""

    kind: str
    outcome: str
    target_nm: float
    torque_nm: float | None
    trace: Trace


@dataclass(frozen=True, slots=True)
class Judgement:
    """A verdict and every reason for it, none when accepted."""

    verdict: Verdict
    reasons: tuple[Reason, ...] = ()


def judge(evidence: Evidence, tolerance: float = TOLERANCE) -> Judgement:
    """Return the verdict on one record.

    Args:
        evidence: What was measured.
        tolerance: Allowed difference from the target, fraction, 0 < tolerance < 1.

    Returns:
        Rejected if anything speaks against it; else not decidable if anything is missing.
    """
    reasons = tuple(_reasons(evidence, tolerance))
    if any(reason in _REJECTING for reason in reasons):
        return Judgement(Verdict.REJECTED, reasons)
    return Judgement(Verdict.NOT_DECIDABLE if reasons else Verdict.ACCEPTED, reasons)


def _reasons(evidence: Evidence, tolerance: float) -> Iterator[Reason]:
    is_by_hand = evidence.outcome == "by_hand"
    if evidence.outcome == "faulted":
        yield Reason.FAULTED
    elif evidence.outcome == "replaced":
        yield Reason.REPLACED
    elif is_by_hand:
        pass  # A person's word and their check torque stand for the tool's samples.
    elif evidence.outcome != "finished":
        yield Reason.INTERRUPTED
    if evidence.kind not in WITH_TARGET:
        return
    if not is_by_hand:
        yield from _sample_reasons(evidence.trace)
    target_nm, torque_nm = evidence.target_nm, evidence.torque_nm
    if not target_nm > 0.0:
        yield Reason.TARGET_MISSING
    elif torque_nm is None or not math.isfinite(torque_nm):
        yield Reason.TORQUE_MISSING
    else:
        if torque_nm < target_nm * (1.0 - tolerance):
            yield Reason.TORQUE_BELOW
        if torque_nm > target_nm * (1.0 + tolerance):
            yield Reason.TORQUE_ABOVE
        samples_nm = evidence.trace.torque_nm
        if samples_nm and abs(max(samples_nm) - torque_nm) > AGREEMENT * target_nm:
            yield Reason.TORQUE_DISAGREES


def _sample_reasons(trace: Trace) -> Iterator[Reason]:
    if len(trace.torque_nm) < SAMPLES_MIN or len(trace.time_s) < SAMPLES_MIN:
        yield Reason.SAMPLES_MISSING
    columns = (trace.torque_nm, trace.pressure_pa, trace.angle_rad)
    # A tool without a pressure or angle sensor leaves that column empty, but never half full.
    if any(len(column) not in (0, len(trace.time_s)) for column in columns):
        yield Reason.COLUMNS_UNEQUAL
    if not _is_rising(trace.time_s):
        yield Reason.TIME_NOT_RISING


def _is_rising(values: Sequence[float]) -> bool:
    return all(before < after for before, after in pairwise(values))
