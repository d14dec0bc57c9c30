"""Run a campaign: survey its days, hand out, count what was met, shrink what failed.

Units: ``*_s`` seconds of the wall.
Invariants: CA2, which case has which number follows from the seed alone, never from workers or
time; CA3, a campaign in which a canary was not reported has failed.
"""

import time
from collections import Counter, deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from coordinator.campaign.batch import Item, Maker, run_batch, run_found, run_shrink, run_survey
from coordinator.campaign.coverage import Coverage
from coordinator.campaign.line import DAY_CASES, DAYS, Batch, Line, Settings, day_of
from coordinator.campaign.planner import cells_of
from coordinator.campaign.pool import Job, Pool
from coordinator.campaign.shrink import Shrinking, Shrunk
from coordinator.campaign.store import Folder, Row, to_row
from coordinator.campaign.survey import Survey

SAMPLES_MAX = 3
"""Cases kept of each way to fail."""
SAMPLE_EVERY = 50
"""At least so many cases lie between two points of the curve of what was met."""
PARTS_WORTH = 8
"""So many parts must be left of a batch for another worker to take half of them."""


@dataclass(frozen=True, slots=True)
class Sample:
    """How far a campaign was at a moment."""

    at_s: float | None
    """Since this call began; None where it was run before, or elsewhere."""
    done: int
    known: int
    """Cells, pairs and triples met."""


@dataclass(slots=True)
class Tally:
    """What a campaign has come to."""

    rows: list[Row] = field(default_factory=list)
    coverage: Coverage = field(default_factory=Coverage)
    failed: Counter[str] = field(default_factory=Counter)
    shrunk: list[Shrunk] = field(default_factory=list)
    canaries: Counter[bool] = field(default_factory=Counter)
    """How many were reported, and how many were not."""
    samples: list[Sample] = field(default_factory=list)
    surveys: dict[int, Survey] = field(default_factory=dict)
    done: int = 0

    def add(self, row: Row) -> None:
        """Count a case."""
        self.done += 1
        self.rows.append(row)
        if row.canary:
            self.canaries[bool(row.outcome.violations)] += 1
            return
        self.coverage.add(row.outcome)
        if row.outcome.violations:
            self.failed[row.outcome.signature] += 1

    @property
    def known(self) -> int:
        """How many cells, pairs and triples were met."""
        met = self.coverage
        return len(met.cells) + len(met.pairs) + len(met.triples)

    @property
    def is_good(self) -> bool:
        """Tell whether cases were run, no promise was broken, and every canary was reported."""
        clean = all(not one.outcome.violations for one in self.surveys.values())
        was_run = self.done > sum(self.canaries.values())
        return was_run and clean and not self.failed and not self.canaries[False]


Told = Callable[[Tally], None]


class Campaign:
    """One campaign in its folder."""

    def __init__(self, maker: Maker, settings: Settings, folder: Folder, pool: Pool[Any]) -> None:
        """Stand ready; `begin` of the folder was called."""
        self.maker = maker
        self.settings = settings
        self.folder = folder
        self.pool = pool
        self.tally = Tally()
        self.is_stopped = False
        self._line = Line(maker, settings, pool.width)
        self._batches: dict[int, Batch] = {}
        """What each worker goes on with."""
        self._own: dict[int, deque[Job[Any]]] = {lane: deque() for lane in range(pool.width)}
        """What must be done next by just that worker."""
        self._waiting: deque[Job[Any]] = deque()
        self._began_s = time.monotonic()
        self._shrinking: Counter[str] = Counter()

    def stop(self) -> None:
        """Hand out no more cases; the few that are being run are still waited for."""
        self.is_stopped = True

    def run(self, rows: Sequence[Row], told: Told) -> Tally:
        """Do what is not done yet, and return what it came to.

        Args:
            rows: What was done before.
            told: Called whenever there is something new.
        """
        self._count_again(rows)
        self._survey()
        if self.is_stopped:
            return self.tally
        # The same case number may come from a campaign that was merged in, with another seed.
        ours = {row.number: row for row in rows if row.seed == self.settings.seed}
        kept = [one.number for one in self.folder.kept() if one.seed == self.settings.seed]
        self._line.begin(self.tally.surveys, ours, frozenset(kept))
        while True:
            for lane in self.pool.free_lanes():
                if (job := self._next(lane)) is not None:
                    self.pool.submit(replace(job, lane=lane))
            if self.pool.is_idle:
                self._sample(least=1)
                return self.tally
            # Whoever waits for workers plans meanwhile what they do next.
            is_ahead = self._line.is_ahead or not self._may_go_on or not self._line.plan_some()
            for finished, result in self.pool.finished(None if is_ahead else 0.0):
                self._take(finished, result)
                told(self.tally)

    def planned_cells(self) -> list[tuple[str, str, str]]:
        """Return every cell that can be met on the first day; none if it was never surveyed."""
        surveys = self.tally.surveys
        return cells_of(self.maker.words(), surveys[0]) if 0 in surveys else []

    @property
    def _may_go_on(self) -> bool:
        return not self.is_stopped and self._left_s() > 0

    def _count_again(self, rows: Sequence[Row]) -> None:
        """Count what was done before; when each case of it was run is not kept."""
        kept = {(one.seed, one.number) for one in self.folder.kept()}
        for row in rows:
            self.tally.add(row)
            if row.outcome.violations and (row.seed, row.number) in kept:
                self._shrinking[row.outcome.signature] += 1
            self._sample(is_timed=False)
        self._sample(is_timed=False, least=1)
        self._began_s = time.monotonic()
        self._sample(least=0)

    def _survey(self) -> None:
        wanted = deque(range(max(1, min(DAYS, -(-self.settings.cases // DAY_CASES)))))
        while True:
            for _ in self.pool.free_lanes():
                if wanted and not self.is_stopped:
                    day = wanted.popleft()
                    given = (self.maker, day_of(self.settings, day))
                    self.pool.submit(Job(("survey", day), run_survey, given))
            if self.pool.is_idle:
                break
            for job, result in self.pool.finished():
                self.tally.surveys[job.tag[1]] = result
        self.tally.surveys = dict(sorted(self.tally.surveys.items()))

    def _next(self, lane: int) -> Job[Any] | None:
        """Return what a worker does next, None for nothing."""
        if self._own[lane]:
            return self._own[lane].popleft()
        if self.is_stopped:
            return None
        while self._line.failed_before:
            self._shrink(*self._line.failed_before.popleft())
        if self._waiting:
            return self._waiting.popleft()
        if not self._may_go_on:
            return None
        batch = self._batches.get(lane)
        if batch is None or not batch.parts:
            batch = self._line.next_batch() or self._half_of_another()
            if batch is None:
                # The last that was planned may have failed before, and is to be made small.
                return self._next(lane) if self._line.failed_before else None
            self._batches[lane] = batch
        items = batch.parts.popleft()
        given = (self.maker, day_of(self.settings, batch.day), items, self._left_s(), batch.number)
        return Job(("batch", batch.day), run_batch, given)

    def _half_of_another(self) -> Batch | None:
        """Return half of what another worker has before it, if that is worth a day of its own."""
        longest = max(self._batches.values(), key=lambda one: len(one.parts), default=None)
        if longest is None or len(longest.parts) < PARTS_WORTH:
            return None
        return longest.halve()

    def _left_s(self) -> float:
        return self.settings.budget_s - (time.monotonic() - self._began_s)

    def _take(self, job: Job[Any], result: Any) -> None:
        what, day, *rest = job.tag
        if what == "found":
            self.tally.shrunk.append(result)
        elif what == "shrink":
            self._go_on_shrinking(rest[0], day, result, job.lane)
        else:
            rows = [to_row(one, self.settings.seed, day) for one in result]
            self.folder.add(rows)
            for row, one in zip(rows, result, strict=True):
                self.tally.add(row)
                if not row.canary:
                    self._shrink(one.item, day, one.outcome.signature)
            self._sample()

    def _sample(self, *, is_timed: bool = True, least: int = SAMPLE_EVERY) -> None:
        """Note a point of the curve, if so many cases have come since the one before."""
        samples, done = self.tally.samples, self.tally.done
        if done - (samples[-1].done if samples else 0) >= least:
            at_s = round(time.monotonic() - self._began_s, 2) if is_timed else None
            samples.append(Sample(at_s, done, self.tally.known))

    def _shrink(self, item: Item, day: int, signature: str) -> None:
        if not signature or self._shrinking[signature] >= SAMPLES_MAX:
            return
        self._shrinking[signature] += 1
        given = (self.maker, day_of(self.settings, day), item, Shrinking(item.case, signature))
        self._waiting.append(Job(("shrink", day, item), run_shrink, given))

    def _go_on_shrinking(self, item: Item, day: int, state: Shrinking, lane: int) -> None:
        # Who stops does not wait until it is as small as can be.
        is_over = state.is_done or self.is_stopped
        given = (self.maker, day_of(self.settings, day), item, state)
        if is_over:
            self._own[lane].append(Job(("found", day), run_found, given))
        else:
            self._own[lane].append(Job(("shrink", day, item), run_shrink, given))
