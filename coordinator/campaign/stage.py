"""What the campaign needs of a simulated cell: run it, copy it, let causes act in it.

Units: ``*_us`` whole microseconds since the run began.
"""

from collections.abc import Callable
from typing import Protocol, Self

from coordinator.campaign.ground import Ground
from coordinator.campaign.judge import Judge
from coordinator.core.state import State
from coordinator.sequence import Case

CANARIES = ("moves_unclear", "releases_one")
"""Defects put in on purpose: motion while the floor is not clear; a barrier that lets one go."""


class Stage(Protocol):
    """A cell in virtual time with its judge, at some moment of its run."""

    @property
    def ground(self) -> Ground:
        """What its files say."""

    @property
    def judge(self) -> Judge:
        """Who looks on."""

    @property
    def now_us(self) -> int:
        """The time."""

    @property
    def index(self) -> int:
        """Deliveries so far."""

    @property
    def state(self) -> State:
        """What the coordinator would tell on its page."""

    def copy(self) -> Self:
        """Return a stage that goes on from here by itself; nobody makes copies of it in turn."""

    def take(self, case: Case) -> None:
        """Let the causes of a case act, and its people; nothing of it has begun yet."""

    def run(self, until: Callable[[], bool], time_us_max: int) -> None:
        """Let time pass."""

    def next_person_us(self) -> int | None:
        """Return when somebody will act or answer, None for never."""

    def hold_unattended(self) -> None:
        """Hold the run, as whoever finds nobody there does."""

    def watch_questions(self) -> None:
        """Note from now on which causes would act, if they were set."""

    def questions(self) -> tuple[tuple[str, int, str, int], ...]:
        """Return (kind, when, side or "", bolt or 0) of everything that was asked for."""

    def spoil(self, canary: str) -> None:
        """Put a defect in on purpose, one of `CANARIES`, that the judge must report."""

    def acted(self) -> tuple[bool, ...]:
        """Return for each cause of the case whether it has acted."""

    def trace_sha256(self) -> str:
        """Return the hash over every delivery so far; empty where no trace was asked for."""


class Opening(Protocol):
    """Builds a stage at the very beginning of a run."""

    def __call__(
        self, seed: int, *, stretch: float = 1.0, case: Case | None = None, traced: bool = False
    ) -> Stage:
        """Build it.

        Args:
            seed: Of everything random.
            stretch: Factor on the times of the link.
            case: Known from the start; without it one can be taken later.
            traced: Keep the hash of the trace.
        """
