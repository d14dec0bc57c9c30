"""Study how long runs took, side by side, and charge every wait to whoever caused it.

Units: ``*_s`` seconds.
Invariants: CM4, what a side worked, recovered, waited, was held and was idle adds up to its whole
time.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from coordinator.timeline.build import Timeline

KINDS = ("work", "recover", "wait", "held", "idle")
LONGEST = 10
"""Chosen: what is worth looking at first."""


@dataclass(frozen=True, slots=True)
class Cycle:
    """One run."""

    run: str
    sequence: str
    phase: str
    standings: str
    total_s: float
    sides: dict[str, dict[str, float]]
    """Of each side, how long it did what."""
    waits_s: dict[str, float]
    """For whom, or for what, was waited how long."""
    critical_s: dict[str, float]
    """How long each side was on the critical path."""
    longest: tuple[tuple[str, str, float], ...]
    """(side, step, how long) of the steps that took longest."""


def cycle_of(run: str, phase: str, standings: str, made: Timeline) -> Cycle:
    """Return the study of one run."""
    sides = {name: dict.fromkeys(KINDS, 0.0) for name in made.parties}
    critical = dict.fromkeys(made.parties, 0.0)
    for one in made.intervals:
        sides[made.parties[one.lane]][one.kind] += (one.end_us - one.begin_us) / 1e6
    for one in made.critical:
        critical[made.parties[one.lane]] += (one.end_us - one.begin_us) / 1e6
    work = [one for one in made.intervals if one.kind in ("work", "recover")]
    work.sort(key=lambda one: (one.begin_us - one.end_us, one.begin_us, one.lane))
    return Cycle(
        run,
        made.name,
        phase,
        standings,
        round(made.end_us / 1e6, 3),
        {name: {kind: round(it, 3) for kind, it in one.items()} for name, one in sides.items()},
        {name: round(one / 1e6, 3) for name, one in made.waits_us().items()},
        {name: round(one, 3) for name, one in critical.items()},
        tuple(
            (made.parties[one.lane], one.name, round((one.end_us - one.begin_us) / 1e6, 3))
            for one in work[:LONGEST]
        ),
    )


def means_of(cycles: Sequence[Cycle]) -> dict[str, dict[str, float]]:
    """Return, for each sequence, the mean, least and greatest time of its complete runs."""
    times: dict[str, list[float]] = {}
    for one in cycles:
        if one.phase == "complete":
            times.setdefault(one.sequence, []).append(one.total_s)
    return {
        name: {
            "runs": float(len(found)),
            "mean_s": round(sum(found) / len(found), 3),
            "least_s": min(found),
            "greatest_s": max(found),
        }
        for name, found in sorted(times.items())
    }
