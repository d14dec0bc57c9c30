"""The jobs that workers do: survey a day, run a batch of its cases, shrink a failing one.

Each job is a plain function of plain values, so that a process next door or a machine far away
can do it.

Units: ``*_us`` whole microseconds since the run began; ``*_s`` seconds of the wall.
"""

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from coordinator.campaign.running import Outcome, replay_case, run_case
from coordinator.campaign.shrink import Shrunk, shrink
from coordinator.campaign.stage import Opening, Stage
from coordinator.campaign.survey import Survey, survey
from coordinator.campaign.vocabulary import Vocabulary
from coordinator.collector import without_collector
from coordinator.sequence import Case, Found

BEFORE_US = 1_000
"""A copy is made so long before its first cause begins."""


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


def run_survey(maker: Maker, day: Day) -> Survey:
    """Survey a day."""
    return survey(maker.opening()(day.seed, stretch=day.stretch))


def run_batch(
    maker: Maker, day: Day, items: Sequence[Item], budget_s: float = 1e9
) -> tuple[Result, ...]:
    """Run the cases of one day: the clean day goes on underneath, each case on a copy of it.

    Args:
        maker: Opens the day.
        day: Which.
        items: In any order.
        budget_s: After so long what is left is left undone.
    """
    began_s = time.monotonic()
    with without_collector():  # A case leaves a tenth of a megabyte in circles, and costs less.
        return tuple(_run_items(maker, day, items, began_s + budget_s))


def _run_items(maker: Maker, day: Day, items: Sequence[Item], end_s: float) -> Iterator[Result]:
    clean = maker.opening()(day.seed, stretch=day.stretch)
    for item in sorted(items, key=lambda one: first_us(one.case)):
        if time.monotonic() > end_s:
            break
        lap_s = time.monotonic()
        stage = copy_before(clean, item.case)
        if item.canary:
            stage.spoil(item.canary)
        outcome = run_case(stage, item.case, is_whole=item.is_whole)
        yield Result(item, outcome, time.monotonic() - lap_s)


def run_shrink(maker: Maker, day: Day, item: Item, signature: str) -> Shrunk:
    """Shrink a failing case, then find it again from the very beginning.

    Args:
        maker: Opens the day.
        day: Which.
        item: The case as it failed.
        signature: What it must go on to fail with.
    """
    opening = maker.opening()
    clean = opening(day.seed, stretch=day.stretch)
    # The clean day stands just before the first cause, and every try is a copy from there.
    copy_before(clean, item.case)

    def attempt(case: Case) -> Outcome:
        return run_case(copy_before(clean, case), case, is_whole=item.is_whole)

    small, tries = shrink(item.case, attempt, signature)
    case, outcome = found_again(maker, day, replace(item, case=small))
    return Shrunk(case, outcome, tries, len(item.case.causes))


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
    until_us = first_us(case) - BEFORE_US
    if clean.now_us < until_us:
        clean.run(_reached(clean, until_us), until_us)
    stage = clean.copy()
    stage.take(case)
    return stage


def first_us(case: Case) -> int:
    """Return when the first cause or act at a time begins; 0 if there is none."""
    starts = [cause.at_us or 0 for cause in case.causes]
    starts += [act.at_us for act in case.acts if act.at_us is not None]
    return min(starts, default=0)


def _reached(stage: Stage, until_us: int) -> Callable[[], bool]:
    return lambda: stage.now_us >= until_us
