"""What a side's tool felt during one command, and how far a record shows its bolt to be.

Units: degree, newton metre, megapascal.
"""

import math
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from coordinator.wire.messages import Trace

POINTS_MAX = 120
"""Chosen: finer than a tablet shows, few enough for a narrow line."""
Row = Mapping[str, Any]


class Judged(NamedTuple):
    """What acceptance reads of a record."""

    bolt: int
    kind: str
    round: int
    verdict: str
    outcome: str
    torque_nm: float | None
    angle_rad: float | None
    trace_torque_nm: Sequence[float]
    trace_angle_rad: Sequence[float]

    @classmethod
    def of(cls, row: Row) -> "Judged":
        """Return it of a row of the records."""
        return cls(
            int(row["bolt"]),
            str(row["kind"]),
            int(row["round"] or 0),
            str(row["verdict"]),
            str(row.get("outcome", "")),
            row["torque_nm"],
            row.get("angle_rad"),
            row.get("trace_torque_nm", ()),
            row.get("trace_angle_rad", ()),
        )


@dataclass(slots=True)
class Course:
    """What one side's tool felt during one command."""

    command: int
    points: "deque[tuple[float | None, float, float | None]]"
    """Angle in degrees, torque in newton metre, pressure in megapascal."""

    @classmethod
    def of(cls, command: int) -> "Course":
        """Return one that has felt nothing yet."""
        return cls(command, deque(maxlen=POINTS_MAX))

    def retrace(self, trace: Trace) -> None:
        """Take the whole trace of the command instead of what came while it went on."""
        self.points.clear()
        stride = max(1, math.ceil(len(trace.time_s) / POINTS_MAX))
        for place in range(0, len(trace.time_s), stride):
            self.add(
                _at(trace.angle_rad, place),
                _at(trace.torque_nm, place),
                _at(trace.pressure_pa, place),
            )

    def add(
        self, angle_rad: float | None, torque_nm: float | None, pressure_pa: float | None
    ) -> None:
        """Take in one sample; without a torque it is none."""
        if torque_nm is None:
            return
        angle = None if angle_rad is None else round(math.degrees(angle_rad), 2)
        pressure = None if pressure_pa is None else round(pressure_pa / 1e6, 2)
        self.points.append((angle, round(torque_nm), pressure))


STAGES = {"run-up": "run_up", "check": "checked", "break-out": "loose", "back-out": "out"}
"""Kind of an accepted record -> how far its bolt is."""


def stage_of(row: Row) -> str:
    """Return how far a bolt is, by its last record."""
    if row["verdict"] != "accepted":
        if row.get("outcome") == "interrupted":
            return "interrupted"  # A hold broke it off: it is done again.
        return str(row["verdict"])
    return "by_hand" if row.get("outcome") == "by_hand" else STAGES.get(row["kind"], "round")


def _at(column: tuple[float, ...], place: int) -> float | None:
    return column[place] if place < len(column) else None
