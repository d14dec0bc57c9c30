"""Break a bolt loose: pressure up to the break-out torque, then falling away.

Units: SI.
"""

import math
from collections.abc import Generator

from sim_arms.activities.bench import Course
from sim_arms.activities.stroking import Drive
from sim_arms.activities.wrenching import IDLE_STROKES, STATIC_RATIO, STROKES_MAX, Nut, pulled
from sim_arms.activity import Activity, Done, HoldAsked, Wait

LOOSE_SHARE = 0.1  # Of the highest torque, below which the pressure has fallen away; chosen.
LOOSE_RUNNING = 1.5  # Times the running torque, which no loose nut exceeds; chosen.
STANDS_SHARE = 0.99  # Of the stroke before: a torque that has not fallen at all; chosen.
STAND_S = 2.0  # At the torque allowed before the bolt counts as seized; chosen.


def break_loose(course: Course, bolt: int, torque_max: float) -> Activity:
    """Turn a nut back until the pressure that it takes has fallen away."""
    nut, drive = Nut.under(course.bench, bolt), Drive(course, bolt, torque_max)
    try:
        highest_nm = yield from _stroke_until_loose(nut, drive)
        yield from drive.relieve()
    except HoldAsked as hold:
        _turn_back(nut, drive)
        yield from drive.come_to_rest(hold)
        raise
    drive.peak_nm = highest_nm
    return Done({**pulled(drive), "strokes": drive.strokes}, drive.recording.trace())


def _stroke_until_loose(nut: Nut, drive: Drive) -> Generator[Wait, None, float]:
    """Stroke by stroke, however many it takes; returns the highest torque that it took."""
    highest_nm, before_nm, idle = 0.0, 0.0, 0
    for _ in range(STROKES_MAX):
        end = yield from drive.stroke(
            nut.back_line(_static_ratio(nut)),
            break_nm=nut.break_nm,
            climb_nm=min(nut.climb_nm, nut.holds_nm),  # Back, no stud turning along gains load.
        )
        if drive.stroke_turned_rad > 0.0:
            nut.bench.steel.write(f"bolt.{nut.bolt}.broken_out", True)
        _turn_back(nut, drive)
        idle = idle + 1 if drive.peak_nm > STANDS_SHARE * before_nm > 0.0 else 0
        highest_nm, before_nm = max(highest_nm, drive.peak_nm), drive.peak_nm
        if end == "broken":
            nut.part()
        kind = {"broken": "bolt_broken", "slipped": "reaction_lost"}.get(end)
        if end in ("at_torque", "stalled"):
            kind = "not_loose"
            yield from drive.keep(STAND_S)
        if idle == IDLE_STROKES:
            kind = "not_loose"
        if kind is not None:
            yield from drive.relieve()
            raise drive.fault(kind)
        fallen_nm = max(LOOSE_SHARE * highest_nm, LOOSE_RUNNING * nut.law.running_nm)
        if drive.peak_nm <= fallen_nm:
            return highest_nm
        yield from drive.swing_back()
    raise drive.fault("not_loose")


def _static_ratio(nut: Nut) -> float:
    """How much more torque it takes to set the nut turning than to keep it turning."""
    if nut.bench.steel.flag(f"bolt.{nut.bolt}.broken_out"):
        return STATIC_RATIO
    seized = nut.bench.factor("seized_bolt", "factor", nut.bolt)
    return max(STATIC_RATIO, nut.bench.steel.stiction(nut.bolt) * seized)


def _turn_back(nut: Nut, drive: Drive) -> None:
    """Tell what the stroke turned back; loosening counts its angle from zero upward."""
    nut.turn(-math.fabs(drive.settle_stroke()))
