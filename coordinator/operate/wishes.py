"""What is asked of one live run, how it may be gone on with, and how it ended."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rich.console import Console

from coordinator.core.plan import Mode
from coordinator.live.standing import Standings
from coordinator.operate.cell_clock import CellClock
from coordinator.operate.run_page import PageWish
from coordinator.records.journal import Journal
from coordinator.records.replaying import Replaying
from coordinator.records.windows import Windows
from coordinator.sequence import Case, Loaded, People
from sim_arms.causes import Cause


@dataclass(frozen=True, slots=True)
class LiveResult:
    """How a run ended."""

    phase: str
    reason: str
    run: str
    records: int
    elapsed_us: int
    """Time of the cell since the run began."""
    journal_digest: str = ""
    """Of its last commit: who keeps it can tell whether the journal was altered since."""
    compared: dict[str, Any] = field(default_factory=dict)
    """What was predicted against what was seen; empty where nobody real was listened to."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """What is asked of a run."""

    loaded: Loaded
    sequence_path: Path
    """Read again by the parties' processes."""
    out: Path
    """Folder for the run's folder and the record store."""
    say: Callable[[str], None]
    """Takes lines for people."""
    console: Console | None = None
    """Of the terminal that `say` prints on, for the lines that are drawn there."""
    joint_path: Path | None = None
    """A joint instead of the one that the sequence names."""
    seed: int = 1
    causes: tuple[Cause, ...] = ()
    """What goes wrong in the simulated world."""
    people: Case | People | None = None
    """What people answer and do."""
    speed: float = 1.0
    """How much faster than the wall the simulated cell lives."""
    interactive: bool = False
    """A person at the terminal answers and acts."""
    standings: Standings | None = None
    """Who is simulated, in shadow or real; None for everybody simulated."""
    starts_parties: bool = True
    """Start simulated parties; False waits for those on the broker."""
    take_over: bool = False
    """Do not ask whether another coordinator is at work."""
    look_ahead: int = 0
    """How often each answer to a prompt is tried beforehand; 0 for never."""
    mode: Mode = Mode.AUTOMATIC
    """Set before the start."""
    records: str | None = None
    """Address of the database of records; None for a file in `out`."""
    windows: Windows | None = None
    """What records must lie between, beside the joint's own tolerance; None for that alone."""
    page: PageWish | None = None
    """Where to serve the live page and who may act there; None for no page."""
    clock: CellClock | None = None
    """The clock of simulated parties that others have started."""
    unchecked: tuple[str, ...] = ()
    """Points that keep the run out of automatic mode, also later."""

    @property
    def stands(self) -> Standings:
        """Return who is simulated, in shadow or real."""
        return self.standings or Standings.of(self.loaded.cell)

    @property
    def simulated(self) -> bool:
        """Tell whether nothing real is commanded."""
        return not self.stands.has_real

    @property
    def has_simulation(self) -> bool:
        """Tell whether simulated parties of ours are to be started."""
        return self.starts_parties and not self.stands.is_all_real

    def require_sound(self, broker: str | None) -> None:
        """See that wishes go together.

        Raises:
            ValueError: they do not; the text says why.
        """
        if not self.speed > 0:
            raise ValueError(f"speed is {self.speed:g}, must be above 0")
        if not self.stands.is_all_simulated and self.speed != 1.0:
            raise ValueError(
                f"speed is {self.speed:g}, must be 1 with real parties: they live in real time"
            )
        people = self.people
        if self.stands.has_real and people and (people.answers or people.acts or people.steps):
            raise ValueError(
                f"{self.stands.words()}: with a real party people answer, act and allow steps "
                "themselves, at the terminal or the page; leave the answer file out"
            )
        if not self.stands.is_all_simulated and broker is None:
            raise ValueError("real parties need the address of the broker that they are on")


@dataclass(frozen=True, slots=True)
class Resumption:
    """A run to go on with."""

    journal: Journal
    """Taken up, to be written on."""
    replayed: Replaying
