"""Sum a campaign up: what was met, what noticed it, how it ended, and how the campaign itself went.

Invariants: CA5, the totals of the matrix are those of the outcomes, counted once each.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from coordinator.campaign.campaigning import Sample, Tally
from coordinator.campaign.coverage import Cell, cell_of
from coordinator.campaign.guide_words import worksheet
from coordinator.campaign.line import word_place
from coordinator.campaign.oracles import PROMISES
from coordinator.campaign.running import Effect
from coordinator.campaign.store import Kept, Row

PLATEAU_SHARE = 0.02
"""A campaign stands on a plateau once the last quarter of its cases found less than this of all."""


@dataclass(slots=True)
class CellSum:
    """What came of all causes in one cell."""

    planned: int = 0
    not_reached: int = 0
    masked: int = 0
    """It acted, and nobody noticed."""
    detected: Counter[str] = field(default_factory=Counter)
    ended: Counter[str] = field(default_factory=Counter)
    delays_s: list[float] = field(default_factory=list)

    def add(self, effect: Effect, ended: str) -> None:
        """Count one cause."""
        self.planned += 1
        self.ended[ended] += 1
        if not effect.acted:
            self.not_reached += 1
        elif not effect.detected_by:
            self.masked += 1
        else:
            self.detected[effect.detected_by] += 1
            self.delays_s.append(effect.delay_us / 1e6)

    def as_data(self) -> dict[str, Any]:
        """Return it as a document."""
        return {
            "planned": self.planned,
            "not_reached": self.not_reached,
            "masked": self.masked,
            "detected": dict(sorted(self.detected.items())),
            "ended": dict(sorted(self.ended.items())),
            "delay_s": spread(self.delays_s),
        }


def matrix(rows: Iterable[Row]) -> dict[Cell, CellSum]:
    """Return what came of each cell of fault, step and moment; canaries are left out."""
    cells: dict[Cell, CellSum] = {}
    for row in rows:
        if row.canary:
            continue
        for effect in row.outcome.effects:
            cells.setdefault(cell_of(effect), CellSum()).add(effect, row.outcome.ended)
    return dict(sorted(cells.items()))


def totals(cells: Mapping[Cell, CellSum]) -> dict[str, int]:
    """Return the totals of a matrix."""
    return {
        "planned": sum(one.planned for one in cells.values()),
        "not_reached": sum(one.not_reached for one in cells.values()),
        "masked": sum(one.masked for one in cells.values()),
        "detected": sum(sum(one.detected.values()) for one in cells.values()),
    }


def spread(values: Sequence[float]) -> dict[str, float]:
    """Return least, median, nine tenths and most; empty for nothing."""
    if not values:
        return {}
    ordered = sorted(values)
    last = len(ordered) - 1
    return {
        "least": round(ordered[0], 4),
        "median": round(ordered[last // 2], 4),
        "p90": round(ordered[round(0.9 * last)], 4),
        "most": round(ordered[-1], 4),
    }


def health(samples: Sequence[Sample]) -> dict[str, Any]:
    """Return how the campaign itself went: its rate, what it still found, whether it flattens.

    What would need the times of cases that were run earlier or elsewhere is None: not known.
    """
    timed = [(one, one.at_s) for one in samples if one.at_s is not None]
    if not timed:
        return {"rate_per_s": None, "new_per_min": None, "plateau": None}
    (first, first_s), (last, last_s) = timed[0], timed[-1]
    ran, lasted_s = last.done - first.done, last_s - first_s
    before = [one for one in samples if one.done <= 0.75 * last.done]
    known, since_s = (before[-1].known, before[-1].at_s) if before else (0, first_s)
    late = (last.known - known) / max(1, last.known)
    is_known = ran > 0 and since_s is not None and last_s > since_s
    return {
        "rate_per_s": round(ran / lasted_s, 1) if ran > 0 and lasted_s > 0 else None,
        "new_per_min": (
            round(60.0 * (last.known - known) / (last_s - since_s), 1)
            if is_known and since_s is not None
            else None
        ),
        "plateau": late < PLATEAU_SHARE if before and last.done else None,
    }


def cases_of(tally: Tally, kept: Sequence[Kept]) -> dict[str, list[Kept]]:
    """Return for each way to fail which cases of it have a file of their own."""
    places = {(one.seed, one.number): one for one in kept}
    found: dict[str, list[Kept]] = {name: [] for name, _ in tally.failed.most_common()}
    for row in tally.rows:
        signature = "" if row.canary else row.outcome.signature
        if signature and (one := places.get((row.seed, row.number))) is not None:
            found[signature].append(one)
    return found


def document(
    tally: Tally, planned: Sequence[Cell], kinds: Sequence[str], kept: Sequence[Kept] = ()
) -> dict[str, Any]:
    """Return the whole report as one document.

    Args:
        tally: What the campaign came to.
        planned: Every cell that could be met.
        kinds: Every kind of cause.
        kept: The failing cases that have a file of their own.
    """
    cells = matrix(tally.rows)
    met = tally.coverage
    count = len(kinds)
    return {
        "cases": tally.done,
        "whole": sum(row.is_whole for row in tally.rows),
        "canaries": {"reported": tally.canaries[True], "missed": tally.canaries[False]},
        "ended": dict(Counter(row.outcome.ended for row in tally.rows if not row.canary)),
        "failed": dict(tally.failed.most_common()),
        "kept": {
            name: [f"{one.place.parent.name}/{one.place.name}" for one in cases]
            for name, cases in cases_of(tally, kept).items()
        },
        "clean_days": {str(day): one.outcome.ended for day, one in tally.surveys.items()},
        "coverage": {
            "cells": [len(met.cells), len(planned)],
            "ordered_pairs": [len(met.pairs), count * count],
            "ordered_triples": [len(met.triples), count**3],
        },
        "totals": totals(cells),
        "matrix": [
            {"cause": cause, "step": step, "moment": moment, **one.as_data()}
            for (cause, step, moment), one in cells.items()
        ],
        "delay_s": {kind: spread(_delays(cells, kind)) for kind in kinds},
        "worksheet": word_rows(tally),
        "health": health(tally.samples),
        "promises": dict(PROMISES),
    }


def word_rows(tally: Tally) -> list[Mapping[str, str]]:
    """Return the worksheet of the guide words, as far as it was filled."""
    ends: dict[int, tuple[str, str]] = {}
    for row in tally.rows:
        place = word_place(row.number)
        if row.day == 0 and place is not None and row.outcome.effects:
            ends.setdefault(place, (row.outcome.ended, row.outcome.effects[0].detected_by))
    in_order = []
    for place in range(len(ends)):
        if place not in ends:
            break
        in_order.append(ends[place])
    return worksheet(tally.surveys[0], in_order) if 0 in tally.surveys else []


def _delays(cells: Mapping[Cell, CellSum], kind: str) -> list[float]:
    return [delay for cell, one in cells.items() if cell[0] == kind for delay in one.delays_s]
