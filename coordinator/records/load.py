"""What the records of a run say of the load of each bolt, beside that of the others.

Counted from the run-up on: a nut that was already tight has turned before anybody counted.

Units: torque newton metre, angle radian.
Invariants: RC12, a joint in which the readings of one bolt tell another load than those of the
others is not accepted.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import degrees
from typing import Protocol

from coordinator.bolting.load_evidence import (
    LEAST_BOLTS,
    BoltLoad,
    BoltReadings,
    Ring,
    compare_loads,
)
from coordinator.records.course import slope_nm_per_rad
from coordinator.sequence import JointFigures

TURNING = ("pull", "confirm", "check")
"""Kinds of record in which a nut is turned on."""
NOT_SEEN = (
    "WARNING: what this evidence cannot see: a friction of the whole lot that differs from the "
    "joint file (1.5 times as much leaves some 69 % of the load in every bolt), friction and "
    "stiffness that make up for each other, a tool that reads wrong on both sides alike, a wrong "
    "grade below its yield, poor engagement, and what is lost afterwards by settling or heat. Two "
    "measured elongations or a friction test of the lot would show the first."
)


class Measured(Protocol):
    """What is read of a record."""

    @property
    def bolt(self) -> int: ...
    @property
    def kind(self) -> str: ...
    @property
    def round(self) -> int: ...
    @property
    def outcome(self) -> str: ...
    @property
    def torque_nm(self) -> float | None: ...
    @property
    def angle_rad(self) -> float | None: ...
    @property
    def trace_torque_nm(self) -> Sequence[float]: ...
    @property
    def trace_angle_rad(self) -> Sequence[float]: ...


@dataclass(frozen=True, slots=True)
class LoadPoint:
    """A bolt whose load is not supported."""

    bolt: int
    words: str


def load_points(records: Sequence[Measured], joint: JointFigures) -> tuple[LoadPoint, ...]:
    """Return the bolts whose readings tell another load than those of the others.

    Args:
        records: Of one run, in the order in which they were written, with their traces.
        joint: The joint of the run.

    Returns:
        None of a run that did not pull the whole joint from its run-up on.
    """
    readings = _readings(records, joint.bolt_count)
    if readings is None or joint.bolt_count < LEAST_BOLTS:
        return ()
    ring = Ring(joint.flange.ring_to_bolts, joint.flange.influence)
    loads = compare_loads(readings, ring, joint.scatter)
    return tuple(
        LoadPoint(bolt, _words(bolt, load, readings))
        for bolt, load in enumerate(loads, 1)
        if load is not None and (load.is_outlier or load.disagrees)
    )


def _readings(records: Sequence[Measured], bolts: int) -> list[BoltReadings] | None:
    """Return what each bolt showed; None where not every bolt was run up and pulled."""
    by_bolt: dict[int, list[Measured]] = {}
    for one in records:
        by_bolt.setdefault(one.bolt, []).append(one)
    found = []
    for bolt in range(1, bolts + 1):
        mine = by_bolt.get(bolt, [])
        kinds = [one.kind for one in mine]
        if "run-up" not in kinds or "pull" not in kinds:
            return None
        found.append(_reading(mine))
    return found


def _reading(records: Sequence[Measured]) -> BoltReadings:
    replaced = [place for place, one in enumerate(records) if one.outcome == "replaced"]
    # Whoever put in a new bolt has run it up: nobody counted its turn.
    since = records[replaced[-1] + 1 :] if replaced else records
    turned = [one for one in since if one.kind in TURNING]
    pulls = [one for one in turned if one.kind == "pull" and one.outcome == "finished"]
    is_counted = not replaced and all(one.angle_rad is not None for one in turned)
    turn_rad = sum(one.angle_rad or 0.0 for one in turned) if is_counted and pulls else None
    if not pulls:
        return BoltReadings(None, None, None)
    last = pulls[-1]
    slope = slope_nm_per_rad(last.trace_torque_nm, last.trace_angle_rad)
    return BoltReadings(turn_rad, last.torque_nm, slope)


def _words(bolt: int, load: BoltLoad, readings: Sequence[BoltReadings]) -> str:
    own = readings[bolt - 1].turn_rad
    others = [
        degrees(one.turn_rad)
        for place, one in enumerate(readings, 1)
        if place != bolt and one.turn_rad is not None
    ]
    turned = ""
    if own is not None and others:
        turned = f"turned {degrees(own):.0f}°, the others {min(others):.0f} to {max(others):.0f}°: "
    if not load.is_outlier:
        return (
            f"bolt {bolt}, load not supported: {turned}its turn and the slope of its last pull "
            "disagree: settling, drag or galling; back it off and look at thread and face"
        )
    low, high = (round(100 * one) for one in load.band)
    friction = "more" if load.share < 1.0 else "less"
    return (
        f"bolt {bolt}, load not supported: {turned}about {100 * load.share:.0f} % of their load "
        f"({low} to {high} %); it rubs {friction} than they, or its grip differs; replace or "
        "lubricate it and pull again from round 1, or measure its elongation and that of another"
    )
