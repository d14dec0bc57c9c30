"""The jobs that workers do: survey a day, run cases of it, shrink a failing one.

Each job is a plain function of plain values, so that a process next door or a machine far away
can do it.

Units: ``*_us`` whole microseconds since the run began; ``*_s`` seconds of the wall.
"""

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from coordinator.campaign.running import Outcome, replay_case, run_case
from coordinator.campaign.shrink import Shrinking, Shrunk, shrink_on
from coordinator.campaign.stage import Opening, Stage
from coordinator.campaign.survey import Survey, survey
from coordinator.campaign.vocabulary import Vocabulary
from coordinator.collector import without_collector
from coordinator.sequence import Case, Found

BEFORE_US = 1_000
"""A copy is made so long before its first cause begins."""
SHRINK_TRIES = 10
"""Tries of shrinking in a row; then whoever asks for it may have something else to do."""
KEPT_MAX = 4
"""Clean days that a worker keeps: each has some megabytes."""


class Maker(Protocol):
    """Builds, on whatever machine, what a job needs; small enough to be sent along with it."""

    def opening(self) -> Opening:
        """Return what opens stages."""

    def words(self) -> Vocabulary:
        """Return what cases are made of."""

    def found(self) -> Found:
        """Return the files that a case is found with, and nothing of what it came to."""


@dataclass(frozen=True, slots=True)
class Day:
    """A simulated day: its chance, and how patient the link is."""

    seed: int
    stretch: float = 1.0


@dataclass(frozen=True, slots=True)
class Item:
    """A case in the line."""

    number: int
    case: Case
    is_whole: bool = False
    canary: str = ""
    """A defect put in on purpose, empty for none."""


@dataclass(frozen=True, slots=True)
class Result:
    """What became of an item."""

    item: Item
    outcome: Outcome
    took_s: float


_KEPT: dict[tuple[Maker, Day, int], Stage] = {}
"""Clean days that stand somewhere in the middle, by maker, day and batch; of this worker."""


def run_survey(maker: Maker, day: Day) -> Survey:
    """Survey a day."""
    return survey(maker.opening()(day.seed, stretch=day.stretch))


def run_batch(
    maker: Maker, day: Day, items: Sequence[Item], budget_s: float = 1e9, batch: int = -1
) -> tuple[Result, ...]:
    """Run the cases of one day: the clean day goes on underneath, each case on a copy of it.

    Args:
        maker: Opens the day.
        day: Which.
        items: In any order.
        budget_s: After so long what is left is left undone.
        batch: Of which these are a part; its next part goes on with the same clean day, if it
            comes to the same worker and its cases begin later. -1 for none.
    """
    began_s = time.monotonic()
    ordered = in_order(items)
    with without_collector():  # A case leaves a tenth of a megabyte in circles, and costs less.
        clean = _clean(maker, day, batch, first_us(ordered[0].case) if ordered else 0)
        results = tuple(_run_items(clean, ordered, began_s + budget_s))
    if batch >= 0:
        _keep((maker, day, batch), clean)
    return results


def in_order(items: Sequence[Item]) -> list[Item]:
    """Return cases in the order in which they begin on their day."""
    return sorted(items, key=lambda one: first_us(one.case))


def _run_items(clean: Stage, items: Sequence[Item], end_s: float) -> Iterator[Result]:
    for item in items:
        if time.monotonic() > end_s:
            break
        lap_s = time.monotonic()
        stage = copy_before(clean, item.case)
        if item.canary:
            stage.spoil(item.canary)
        outcome = run_case(stage, item.case, is_whole=item.is_whole)
        yield Result(item, outcome, time.monotonic() - lap_s)


def run_shrink(maker: Maker, day: Day, item: Item, state: Shrinking) -> Shrinking:
    """Go on with shrinking a failing case, for a few tries.

    Args:
        maker: Opens the day.
        day: Which.
        item: The case as it failed.
        state: How far it is.
    """
    begins_us = first_us(item.case)
    key = -2 - item.number
    clean = _clean(maker, day, key, begins_us)
    # The clean day stands just before the first cause, and every try is a copy from there.
    _run_to(clean, begins_us - BEFORE_US)

    def attempt(case: Case) -> Outcome:
        stage = clean.copy()
        stage.take(case)
        return run_case(stage, case, is_whole=item.is_whole)

    state = shrink_on(state, attempt, SHRINK_TRIES)
    if not state.is_done:
        _keep((maker, day, key), clean)
    return state


def run_found(maker: Maker, day: Day, item: Item, state: Shrinking) -> Shrunk:
    """Find what a failing case has become again from the very beginning."""
    case, outcome = found_again(maker, day, replace(item, case=state.case))
    return Shrunk(case, outcome, state.tries, len(item.case.causes))


def _clean(maker: Maker, day: Day, batch: int, begins_us: int) -> Stage:
    """Return a clean day on which nothing has passed that begins at a time."""
    kept = _KEPT.pop((maker, day, batch), None)
    if kept is not None and kept.now_us <= begins_us - BEFORE_US:
        return kept
    return maker.opening()(day.seed, stretch=day.stretch)


def _keep(key: tuple[Maker, Day, int], clean: Stage) -> None:
    """Keep a clean day for the next part of its batch."""
    _KEPT[key] = clean
    for old in list(_KEPT)[:-KEPT_MAX]:
        _KEPT.pop(old, None)


def found_again(maker: Maker, day: Day, item: Item) -> tuple[Case, Outcome]:
    """Run a case from the very beginning; return it with what it came to, and the outcome."""
    found = replace(maker.found(), stretch=day.stretch, is_whole=item.is_whole)
    outcome = replay_case(maker.opening(), replace(item.case, found=found))
    found = replace(
        found,
        ended=outcome.ended,
        broken=tuple(one.signature for one in outcome.violations),
        index=outcome.index,
        at_us=outcome.at_us,
        trace=outcome.trace_sha256,
    )
    return replace(item.case, found=found), outcome


def copy_before(clean: Stage, case: Case) -> Stage:
    """Run the clean day to just before a case begins, and return a copy with the case in it."""
    _run_to(clean, first_us(case) - BEFORE_US)
    stage = clean.copy()
    stage.take(case)
    return stage


def _run_to(clean: Stage, until_us: int) -> None:
    if clean.now_us < until_us:
        clean.run(_reached(clean, until_us), until_us)


def first_us(case: Case) -> int:
    """Return when the first cause or act at a time begins; 0 if there is none."""
    starts = [cause.at_us or 0 for cause in case.causes]
    starts += [act.at_us for act in case.acts if act.at_us is not None]
    return min(starts, default=0)


def _reached(stage: Stage, until_us: int) -> Callable[[], bool]:
    return lambda: stage.now_us >= until_us
