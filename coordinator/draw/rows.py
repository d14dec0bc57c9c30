"""Choose which rows of a counterexample are shown: of a long one runs that go well are left out.

Invariants: CP3, of a counterexample, what goes wrong and how it ends is always shown, and a gap
says what it hides.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from coordinator.prove.monitors import Happened

ROWS_MAX = 40
"""Chosen: what a person still follows, and a page still shows. More, and runs are left out."""
_LAST = 6
"""Of the last rows, where it goes wrong, none is left out."""
_RUN_MIN = 4
"""Shorter runs are shown as they are: a gap takes a row too."""
_WELL = ("is done", "starts", "is armed", "is ready", "is back on the bus")


class Row(NamedTuple):
    """One thing that happened."""

    number: int
    one: Happened


class Gap(NamedTuple):
    """A run of what went well, left out."""

    first: int
    last: int
    words: str
    """How many of which lane."""


def rows_of(course: Sequence[Happened], parties: Sequence[str]) -> tuple[Row | Gap, ...]:
    """Return what is shown of a counterexample, in order; of a short one everything."""
    rows = [Row(number, one) for number, one in enumerate(course, 1)]
    if len(rows) <= ROWS_MAX:
        return tuple(rows)
    folded: list[Row | Gap] = []
    for run in _runs(rows[:-_LAST]):
        if len(run) < _RUN_MIN or not _goes_well(run[0]):
            folded += run
        else:
            folded += [_gap(run[:-1], parties), run[-1]]
    return (*folded, *rows[-_LAST:])


def _goes_well(row: Row) -> bool:
    return row.one.words in _WELL and not row.one.is_cause


def _runs(rows: Sequence[Row]) -> Iterator[list[Row]]:
    """Yield the rows in runs of those that go well and those that do not."""
    run: list[Row] = []
    for row in rows:
        if run and _goes_well(row) != _goes_well(run[-1]):
            yield run
            run = []
        run.append(row)
    if run:
        yield run


def _gap(run: Sequence[Row], parties: Sequence[str]) -> Gap:
    lanes = [row.one.lane for row in run]
    counts = [
        f"{name} {count}" for lane, name in enumerate(parties) if (count := lanes.count(lane))
    ]
    words = f"{len(run)} that went well are left out ({', '.join(counts)})"
    return Gap(run[0].number, run[-1].number, words)
