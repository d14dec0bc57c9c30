"""Tell how long each step takes, over many runs and bolts.

Units: ``*_s`` seconds.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median

from coordinator.timeline.build import Timeline

_WHICH = re.compile(r"\s+(?:bolt\b|hole\b|round\b|#?\d).*$")
"""From here on a step's name says which bolt, round or repetition it is about."""


@dataclass(frozen=True, slots=True)
class StepDuration:
    """How long one kind of step took one side."""

    side: str
    step: str
    count: int
    least_s: float
    median_s: float
    most_s: float


def durations(timelines: Iterable[Timeline]) -> tuple[StepDuration, ...]:
    """Return each step's durations, whichever bolt it was about, by side and then by length.

    Recoveries and waits are not counted; a step that was tried again counts once for each try.
    """
    found: dict[tuple[str, str], list[float]] = {}
    for made in timelines:
        for one in made.intervals:
            if one.kind == "work":
                key = made.parties[one.lane], _WHICH.sub("", one.name)
                found.setdefault(key, []).append((one.end_us - one.begin_us) / 1e6)
    made_of = (
        StepDuration(side, step, len(took), min(took), median(took), max(took))
        for (side, step), took in found.items()
    )
    return tuple(sorted(made_of, key=lambda one: (one.side, -one.median_s, one.step)))
