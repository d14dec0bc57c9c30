"""Judge one record: accepted, rejected, or not decidable, with every reason for it.

A step that a target torque belongs to is judged by what the tool measured. A report alone, without
the samples behind it, decides nothing.

Bounds on angle, pressure, slope and confirmations count where they are set (`windows.py`).

Units: torque newton metre, angle radian, pressure pascal, time second.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from coordinator.records.course import count_confirmations, slope_nm_per_rad
from coordinator.records.windows import TOLERANCE, Bounds, Calibrations, Windows
from coordinator.wire.messages import Trace

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
    ANGLE_BELOW = "angle_below"
    ANGLE_ABOVE = "angle_above"
    ANGLE_MISSING = "angle_missing"
    PRESSURE_BELOW = "pressure_below"
    PRESSURE_ABOVE = "pressure_above"
    PRESSURE_MISSING = "pressure_missing"
    SLOPE_BELOW = "slope_below"
    SLOPE_ABOVE = "slope_above"
    SLOPE_MISSING = "slope_missing"
    CONFIRMATIONS_MISSING = "confirmations_missing"
    CALIBRATION_MISSING = "calibration_missing"
    CALIBRATION_PAST = "calibration_past"


_REJECTING = (
    Reason.FAULTED,
    Reason.INTERRUPTED,
    Reason.REPLACED,
    Reason.TORQUE_BELOW,
    Reason.TORQUE_ABOVE,
    Reason.ANGLE_BELOW,
    Reason.ANGLE_ABOVE,
    Reason.PRESSURE_BELOW,
    Reason.PRESSURE_ABOVE,
    Reason.SLOPE_BELOW,
    Reason.SLOPE_ABOVE,
    Reason.CONFIRMATIONS_MISSING,
)


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a record is judged by."""

    kind: str
    outcome: str
    target_nm: float
    torque_nm: float | None
    trace: Trace
    pressure_pa: float | None = None
    angle_rad: float | None = None
    side: str = ""
    tool: str = ""
    day: str = ""
    """Day of the work, ISO; compared with the tool's calibration."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """A verdict and every reason for it, none when accepted."""

    verdict: Verdict
    reasons: tuple[Reason, ...] = ()


def judge(
    evidence: Evidence,
    windows: Windows | float = TOLERANCE,
    calibrations: Calibrations | None = None,
) -> Judgement:
    """Return the verdict on one record.

    Args:
        evidence: What was measured.
        windows: What it must lie between, or the tolerance alone, 0 < tolerance < 1.
        calibrations: Of the tools of the run; None leaves calibration unjudged.

    Returns:
        Rejected if anything speaks against it; else not decidable if anything is missing.
    """
    if not isinstance(windows, Windows):
        windows = Windows(windows)
    reasons = tuple(_reasons(evidence, windows, calibrations))
    if any(reason in _REJECTING for reason in reasons):
        return Judgement(Verdict.REJECTED, reasons)
    return Judgement(Verdict.NOT_DECIDABLE if reasons else Verdict.ACCEPTED, reasons)


def _reasons(
    evidence: Evidence, windows: Windows, calibrations: Calibrations | None
) -> Iterator[Reason]:
    is_by_hand = evidence.outcome == "by_hand"
    if evidence.outcome == "faulted":
        yield Reason.FAULTED
    elif evidence.outcome == "replaced":
        yield Reason.REPLACED
    elif is_by_hand:
        pass  # A person's word and their check torque stand for the tool's samples.
    elif evidence.outcome != "finished":
        yield Reason.INTERRUPTED
    if evidence.kind in WITH_TARGET:
        if not is_by_hand:
            yield from _sample_reasons(evidence.trace)
        yield from _torque_reasons(evidence, windows.tolerance)
    if is_by_hand:
        return
    if evidence.kind in WITH_TARGET and calibrations is not None:
        yield from _calibration_reasons(evidence, calibrations)
    yield from _window_reasons(evidence, windows)


def _torque_reasons(evidence: Evidence, tolerance: float) -> Iterator[Reason]:
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


def _window_reasons(evidence: Evidence, windows: Windows) -> Iterator[Reason]:
    window, trace = windows.of(evidence.kind), evidence.trace
    if window.angle_rad is not None:
        yield from _outside(evidence.angle_rad, window.angle_rad, "angle")
    if window.pressure_pa is not None:
        yield from _outside(evidence.pressure_pa, window.pressure_pa, "pressure")
    if window.slope_nm_per_rad is not None:
        slope = slope_nm_per_rad(trace.torque_nm, trace.angle_rad)
        yield from _outside(slope, window.slope_nm_per_rad, "slope")
    if window.confirmations:
        found = count_confirmations(trace.torque_nm, evidence.target_nm, windows.tolerance)
        if trace.torque_nm and found < window.confirmations:
            yield Reason.CONFIRMATIONS_MISSING


def _outside(value: float | None, bounds: Bounds, word: str) -> Iterator[Reason]:
    if value is None or not math.isfinite(value):
        yield Reason(f"{word}_missing")
    elif value < bounds.least:
        yield Reason(f"{word}_below")
    elif value > bounds.most:
        yield Reason(f"{word}_above")


def _calibration_reasons(evidence: Evidence, calibrations: Calibrations) -> Iterator[Reason]:
    known = calibrations.find(evidence.side, evidence.tool)
    if known is None or not known.due:
        yield Reason.CALIBRATION_MISSING
    elif evidence.day > known.due:
        yield Reason.CALIBRATION_PAST


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
