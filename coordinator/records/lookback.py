"""Ask old records again: other windows, a doubtful tool, how joints change over the years.

Units: torque newton metre.
Invariants: RC5, a re-judgement never changes the first verdict.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from coordinator.records.rows import Run, StoredRecord
from coordinator.records.verdict import Evidence, Judgement, judge
from coordinator.records.windows import Calibrations, Windows
from coordinator.records.write import DAY_LENGTH
from coordinator.wire.messages import Trace


def rejudge(one: StoredRecord, windows: Windows, run: Run | None = None) -> Judgement:
    """Return the verdict on an old record under other windows, by its stored samples."""
    evidence = Evidence(
        one.kind,
        one.outcome,
        one.target_nm,
        one.torque_nm,
        Trace(one.trace_time_s, one.trace_torque_nm, one.trace_pressure_pa, one.trace_angle_rad),
        one.pressure_pa,
        one.angle_rad,
        one.side,
        one.tool,
        one.at[:DAY_LENGTH],
    )
    tools = None if run is None or run.tools is None else Calibrations(run.tools)
    return judge(evidence, windows, tools)


@dataclass(frozen=True, slots=True)
class Touched:
    """A run in which a doubtful tool was used."""

    run: str
    joint: str
    started: str
    simulated: bool
    bolts: tuple[int, ...]
    records: int
    calibrated: str
    due: str


def find_touched(
    records: Iterable[StoredRecord], runs: Sequence[Run], side: str, tool: str
) -> tuple[Touched, ...]:
    """Return every run whose bolts were worked on with a tool, oldest first."""
    found: dict[str, list[StoredRecord]] = {}
    for one in records:
        if one.tool == tool and one.side == side:
            found.setdefault(one.run, []).append(one)
    touched = []
    for run in runs:
        mine = found.get(run.run, [])
        if not mine:
            continue
        known = Calibrations(run.tools or ()).find(side, tool)
        bolts = tuple(sorted({one.bolt for one in mine}))
        touched.append(
            Touched(
                run.run,
                run.joint,
                run.started,
                run.simulated,
                bolts,
                len(mine),
                known.calibrated if known else "",
                known.due if known else "",
            )
        )
    return tuple(touched)


@dataclass(frozen=True, slots=True)
class Trend:
    """What one joint needed, side by side with the others."""

    run: str
    joint: str
    started: str
    records: int
    rejected: int
    attempts: float
    """Records for each bolt, kind and round; 1.0 is all at the first attempt."""
    causes: tuple[tuple[str, str, int], ...]
    """(side, fault, how often), most often first."""
    pull_nm: float | None
    """Mean torque of the last round's pulls."""
    break_out_nm: float | None
    """Mean torque at which nuts came loose."""


def trends(records: Iterable[StoredRecord], runs: Sequence[Run]) -> tuple[Trend, ...]:
    """Return one line for each run that has records, oldest first."""
    grouped: dict[str, list[StoredRecord]] = {}
    for one in records:
        grouped.setdefault(one.run, []).append(one)
    return tuple(_trend(run, grouped[run.run]) for run in runs if run.run in grouped)


def _trend(run: Run, mine: Sequence[StoredRecord]) -> Trend:
    causes: dict[tuple[str, str], int] = {}
    for one in mine:
        if one.fault:
            causes[one.side, one.fault] = causes.get((one.side, one.fault), 0) + 1
    last = max((one.round for one in mine if one.kind == "pull"), default=0)
    points = {(one.bolt, one.kind, one.round) for one in mine}
    return Trend(
        run.run,
        run.joint,
        run.started,
        len(mine),
        sum(one.verdict == "rejected" for one in mine),
        len(mine) / len(points),
        tuple((side, fault, count) for (side, fault), count in _most_first(causes)),
        _mean(one.torque_nm for one in mine if one.kind == "pull" and one.round == last),
        _mean(one.torque_nm for one in mine if one.kind == "break-out"),
    )


def _most_first(counts: Mapping[tuple[str, str], int]) -> list[tuple[tuple[str, str], int]]:
    return sorted(counts.items(), key=lambda item: (-item[1], item[0]))


def _mean(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return sum(known) / len(known) if known else None
