"""Plan the cases of a campaign in their order, and put them into batches that workers share.

Invariants: CA2, which case has which number follows from the seed alone, never from workers or
time.
"""

from collections import deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from coordinator.campaign.batch import Day, Item, Maker, in_order
from coordinator.campaign.guide_words import word_cases
from coordinator.campaign.planner import Planner
from coordinator.campaign.pool import in_parts
from coordinator.campaign.stage import CANARIES
from coordinator.campaign.store import DAY_SEEDS, Row
from coordinator.campaign.survey import Survey
from coordinator.sequence import Case, CaseCause

DAYS = 8
"""Days whose scatter and patience differ; each costs a run from end to end."""
STRETCHES = (1.0, 1.0, 1.3, 1.0, 1.5, 1.0, 1.7, 1.0)
"""Factor on the link's times on each of them: a lazy link is one way to be another cell."""
DAY_CASES = 1_000
"""Cases of one day in a row: what a run underneath costs is shared among so many."""
WHOLE_EVERY = 100
"""One in so many cases is followed to the very end."""
CANARY_EVERY = 250
"""One in so many cases is a canary."""
FEW_CASES = 25
"""The least that makes a batch, and how many of it are handed out at a time: some tenths of a
second of work."""
PLANNED_AT_ONCE = 25
"""Cases planned before whoever plans looks up again."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What a campaign is asked to do."""

    seed: int = 1
    cases: int = 1000
    budget_s: float = 1e9
    whole_every: int = WHOLE_EVERY


@dataclass(slots=True)
class Batch:
    """Cases of one day in the order in which they begin, part by part."""

    number: int
    day: int
    parts: deque[list[Item]]
    fresh: Callable[[], int]
    """Gives a new number."""

    def halve(self) -> "Batch":
        """Give away the second half."""
        parts = list(self.parts)
        half = len(parts) // 2
        self.parts = deque(parts[:half])
        return Batch(self.fresh(), self.day, deque(parts[half:]), self.fresh)


@dataclass(slots=True)
class Line:
    """The cases in their order."""

    maker: Maker
    settings: Settings
    width: int
    """How many share the work."""
    surveys: Mapping[int, Survey] = field(default_factory=dict)
    failed_before: deque[tuple[Item, int, str]] = field(default_factory=deque)
    """Failing cases of an earlier call that have no file yet, with day and signature."""
    _ready: deque[Batch] = field(default_factory=deque)
    _planned: Iterator[None] = field(default_factory=lambda: iter(()))
    _numbers: int = 0

    def begin(
        self, surveys: Mapping[int, Survey], done: Mapping[int, Row], kept: frozenset[int]
    ) -> None:
        """Start planning.

        Args:
            surveys: Of every day.
            done: What is done already, by number.
            kept: Numbers of the failing cases that have a file of their own.
        """
        self.surveys = surveys
        self._planned = self._plan(done, kept)

    @property
    def is_ahead(self) -> bool:
        """Tell whether a batch is ready."""
        return bool(self._ready)

    def plan_some(self) -> bool:
        """Plan a little more; tell whether there was anything to plan."""
        return next(self._planned, _END) is not _END

    def next_batch(self) -> Batch | None:
        """Return the next batch, None if there is none any more."""
        while not self._ready and self.plan_some():
            pass
        return self._ready.popleft() if self._ready else None

    def _fresh(self) -> int:
        self._numbers += 1
        return self._numbers

    def _plan(self, done: Mapping[int, Row], kept: frozenset[int]) -> Iterator[None]:
        """Plan every case; one done already is planned too, since later ones rest on it."""
        cases = self.settings.cases
        words = word_cases(self.maker.words(), self.surveys[0], day_of(self.settings, 0))
        planner = Planner(self.maker.words(), self.settings.seed)
        for start in range(0, cases, DAY_CASES):
            day = (start // DAY_CASES) % len(self.surveys)
            left = []
            for number in range(start, min(cases, start + DAY_CASES)):
                item = self._item(planner, words, number, day)
                if number not in done:
                    left.append(item)
                elif number not in kept and not item.canary:
                    self._note_failed(item, day, done[number])
                if number % PLANNED_AT_ONCE == 0:
                    yield
            self._hand_out(left, day)
            yield

    def _note_failed(self, item: Item, day: int, row: Row) -> None:
        if row.outcome.violations:
            self.failed_before.append((item, day, row.outcome.signature))

    def _hand_out(self, items: list[Item], day: int) -> None:
        share = max(FEW_CASES, min(DAY_CASES, self.settings.cases // (2 * self.width) + 1))
        for batch in in_parts(in_order(items), share):
            parts = deque(list(part) for part in in_parts(batch, FEW_CASES))
            self._ready.append(Batch(self._fresh(), day, parts, self._fresh))

    def _item(self, planner: Planner, words: list[Case], number: int, day: int) -> Item:
        survey = self.surveys[day]
        seed = day_of(self.settings, day).seed
        if day == 0 and (place := word_place(number)) is not None and place < len(words):
            return Item(number, replace(words[place], case=f"case_{number}"))
        case = planner.plan(number, seed, survey)
        if number % CANARY_EVERY == CANARY_EVERY - 1:
            canary = CANARIES[(number // CANARY_EVERY) % len(CANARIES)]
            return Item(number, canary_case(canary, case, survey), canary=canary)
        every = self.settings.whole_every
        return Item(number, case, is_whole=every > 0 and number % every == every - 1)


_END = object()


def day_of(settings: Settings, day: int) -> Day:
    """Return a day of a campaign."""
    return Day(settings.seed * DAY_SEEDS + day, STRETCHES[day % len(STRETCHES)])


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
