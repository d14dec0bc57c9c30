"""Run a campaign: survey its days, plan, hand out, count what was met, shrink what failed.

Units: ``*_s`` seconds of the wall.
Keeps: Q2, the same seed plans the same cases whatever the number of workers; Q3, a campaign in
which a canary was not reported has failed.
"""

import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from coordinator.campaign.batch import Day, Item, Maker, Result, run_batch, run_shrink, run_survey
from coordinator.campaign.coverage import Coverage
from coordinator.campaign.guide_words import word_cases
from coordinator.campaign.planner import Planner, cells_of
from coordinator.campaign.pool import Job, Pool, in_parts
from coordinator.campaign.shrink import Shrunk
from coordinator.campaign.stage import CANARIES
from coordinator.campaign.store import Folder, Row, to_row
from coordinator.campaign.survey import Survey
from coordinator.sequence import Case, CaseCause

DAYS = 8
"""Days whose scatter and patience differ; each costs a run from end to end."""
STRETCHES = (1.0, 1.0, 1.3, 1.0, 1.5, 1.0, 1.7, 1.0)
"""Factor on the link's times on each of them: a lazy link is one way to be another cell."""
DAY_CASES = 1_000
"""Cases of one day in a row: what a run underneath costs is shared among so many."""
SAMPLES_MAX = 3
"""Cases kept of each way to fail."""
WHOLE_EVERY = 100
"""One in so many cases is followed to the very end."""
CANARY_EVERY = 250
"""One in so many cases is a canary."""
SAMPLE_EVERY = 50
"""So many cases lie between two points of the curve of what was met."""
FEW_CASES = 25
"""The least that is handed to a worker at a time."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What a campaign is asked to do."""

    seed: int = 1
    cases: int = 1000
    budget_s: float = 1e9
    whole_every: int = WHOLE_EVERY


@dataclass(frozen=True, slots=True)
class Sample:
    """How far a campaign was at a moment."""

    at_s: float
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
    def is_good(self) -> bool:
        """Tell whether no promise was broken and every canary was reported."""
        clean = all(not one.outcome.violations for one in self.surveys.values())
        return clean and not self.failed and not self.canaries[False]


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
        self._planner = Planner(maker.words(), settings.seed)
        self._words: list[Case] = []
        self._began_s = time.monotonic()
        self._shrinking: Counter[str] = Counter()
        self._stopped = False

    def stop(self) -> None:
        """Hand out nothing more; what is being done is still waited for."""
        self._stopped = True

    def run(self, rows: Sequence[Row], told: Told) -> Tally:
        """Do what is not done yet, and return what it came to.

        Args:
            rows: What was done before.
            told: Called whenever there is something new.
        """
        for row in rows:
            self.tally.add(row)
        self._sample(0.0)
        self._survey()
        self._words = word_cases(
            self.maker.words(), self.tally.surveys[0], day_of(self.settings, 0)
        )
        # The same case number may come from a campaign that was merged in, with another seed.
        ours = {row.number for row in rows if row.seed == self.settings.seed}
        jobs = self._jobs(ours)
        while True:
            while not self.pool.is_full and (job := self._next(jobs)) is not None:
                self.pool.submit(job)
            if self.pool.is_idle:
                return self.tally
            for finished, result in self.pool.finished():
                self._take(finished, result)
                told(self.tally)

    def planned_cells(self) -> list[tuple[str, str, str]]:
        """Return every cell that can be met on the first day."""
        return cells_of(self.maker.words(), self.tally.surveys[0])

    def _survey(self) -> None:
        wanted = max(1, min(DAYS, -(-self.settings.cases // DAY_CASES)))
        for day in range(wanted):
            given = (self.maker, day_of(self.settings, day))
            self.pool.submit(Job(("survey", day), run_survey, given))
        while not self.pool.is_idle:
            for job, result in self.pool.finished():
                self.tally.surveys[job.tag[1]] = result

    def _next(self, jobs: Iterator[Job[Any]]) -> Job[Any] | None:
        if self._stopped or self._left_s() <= 0:
            return None
        return next(jobs, None)

    def _left_s(self) -> float:
        return self.settings.budget_s - (time.monotonic() - self._began_s)

    def _jobs(self, ours: set[int]) -> Iterator[Job[Any]]:
        """Yield batches; a case done already is planned too, since later ones rest on it."""
        cases = self.settings.cases
        share = max(FEW_CASES, min(DAY_CASES, cases // (2 * self.pool.width) + 1))
        for start in range(0, cases, DAY_CASES):
            day = (start // DAY_CASES) % len(self.tally.surveys)
            numbers = range(start, min(cases, start + DAY_CASES))
            items = [self._item(number, day) for number in numbers]
            left = [item for item in items if item.number not in ours]
            for part in in_parts(range(len(left)), share):
                batch = [left[index] for index in part]
                given = (self.maker, day_of(self.settings, day), batch, self._left_s())
                yield Job(("batch", day), run_batch, given)

    def _item(self, number: int, day: int) -> Item:
        survey = self.tally.surveys[day]
        seed = day_of(self.settings, day).seed
        if day == 0 and (place := word_place(number)) is not None and place < len(self._words):
            return Item(number, replace(self._words[place], case=f"case_{number}"))
        case = self._planner.plan(number, seed, survey)
        if number % CANARY_EVERY == CANARY_EVERY - 1:
            canary = CANARIES[(number // CANARY_EVERY) % len(CANARIES)]
            return Item(number, canary_case(canary, case, survey), canary=canary)
        every = self.settings.whole_every
        return Item(number, case, is_whole=every > 0 and number % every == every - 1)

    def _take(self, job: Job[Any], result: Any) -> None:
        what, day = job.tag
        if what == "shrink":
            self.tally.shrunk.append(result)
            return
        rows = []
        before_s, now_s = self.tally.samples[-1].at_s, time.monotonic() - self._began_s
        for place, one in enumerate(result, 1):
            row = to_row(one, self.settings.seed, day)
            rows.append(row)
            self.tally.add(row)
            self._shrink(one, day)
            if place % SAMPLE_EVERY == 0 or place == len(result):
                # A batch comes as a whole; its cases took about alike.
                self._sample(before_s + (now_s - before_s) * place / len(result))
        self.folder.add(rows)

    def _sample(self, at_s: float) -> None:
        met = self.tally.coverage
        known = len(met.cells) + len(met.pairs) + len(met.triples)
        self.tally.samples.append(Sample(round(at_s, 2), self.tally.done, known))

    def _shrink(self, result: Result, day: int) -> None:
        signature = result.outcome.signature
        if result.item.canary or not signature or self._shrinking[signature] >= SAMPLES_MAX:
            return
        self._shrinking[signature] += 1
        given = (self.maker, day_of(self.settings, day), result.item, signature)
        self.pool.submit(Job(("shrink", day), run_shrink, given))


def day_of(settings: Settings, day: int) -> Day:
    """Return a day of a campaign."""
    return Day(settings.seed * 1_000 + day, STRETCHES[day % len(STRETCHES)])


def word_place(number: int) -> int | None:
    """Return which guide-word case a number stands for; every other case of the first day."""
    return number // 2 if number % 2 == 0 and number < DAY_CASES * DAYS else None


def canary_case(canary: str, case: Case, survey: Survey) -> Case:
    """Return a case in which a defect put in on purpose must show."""
    if canary == "releases_one":
        pulls = [one for one in survey.working if one.action in ("pull", "break_loose")]
        at_us = max(1, (pulls[0].begun_us if pulls else survey.working[0].begun_us) - 1_000_000)
        quiet = CaseCause("duplicate", None, None, at_us, 1_000, None, (("share", 0.1),))
        return replace(case, causes=(quiet,), acts=(), answers=())
    at_us = case.causes[0].at_us or 1
    person = CaseCause("person_steps_in", None, None, at_us, 2_000_000)
    return replace(case, causes=(person,), acts=(), answers=())
