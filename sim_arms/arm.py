"""One simulated arm: the shell of the contract around a bench of real places, tools and physics.

Units: ``*_us`` whole microseconds of the cell's clock; ``*_s`` seconds since the case began.
"""

from collections.abc import Mapping, Sequence
from random import Random

from coordinator.wire.messages import Message, SimulatedFacts, Value
from sim_arms.activities import begin
from sim_arms.activities.bench import Bench, Estimates, HoistBench
from sim_arms.activities.wrenching import Nut
from sim_arms.activity import Activity
from sim_arms.causes import Cause, Causes
from sim_arms.ledger import Ledger, LedgerStore, MemoryStore
from sim_arms.physics.flange import FREE_ADVANCE_M
from sim_arms.shell import Shell
from sim_arms.steel import Steel
from sim_arms.workbench import HandWorked, Settings

METAL = ("tool", "socket_rad", "holding", "seated_on", "reaction_on", "turned_over")
"""What of an arm's bench is metal and not memory."""


class Clock:
    """The time as the activities see it: seconds since the case began, told by the shell."""

    def __init__(self, origin_us: int = 0) -> None:
        """Begin at `origin_us` of the cell's clock."""
        self._origin_us = origin_us
        self._now_us = origin_us

    def tell(self, now_us: int) -> None:
        """Set the time."""
        self._now_us = now_us

    def now_s(self) -> float:
        """Return the seconds since the case began."""
        return (self._now_us - self._origin_us) / 1e6


class SteelWorkbench:
    """The workbench of an arm or of the hoist: its bench, its replica of the steel, its clock."""

    def __init__(self, bench: Bench | HoistBench, clock: Clock) -> None:
        """Join a bench to the clock that it was built with."""
        self.bench = bench
        self._clock = clock

    @property
    def tool(self) -> str:
        """The tool now mounted, empty for none."""
        return self.bench.tool if isinstance(self.bench, Bench) else ""

    def begin(self, action: str, parameters: Mapping[str, Value], on_hold: str) -> Activity:
        """Prepare an action; nothing moves before the first step of what is returned.

        Raises:
            Unfit: the action cannot be begun; nothing was changed.
        """
        return begin(action, parameters, self.bench, on_hold)

    def tell_time(self, now_us: int) -> None:
        """Let the bench know the time before its activity takes a step."""
        self._clock.tell(now_us)

    def take_changes(self) -> Mapping[str, Value]:
        """Return the facts about the steel changed since the last call."""
        return self.bench.steel.take_changes()

    def apply(self, facts: Mapping[str, Value]) -> None:
        """Take up facts that another party wrote."""
        self.bench.steel.apply(facts)

    def standing(self) -> Mapping[str, Value]:
        """Return how the party's own metal stands."""
        bench = self.bench
        if isinstance(bench, Bench):
            return {name: getattr(bench, name) for name in METAL}
        return {name: value for name, value in bench.signals.items() if value is not None}

    def stand(self, standing: Mapping[str, Value]) -> None:
        """Stand as `standing` says."""
        bench = self.bench
        if isinstance(bench, Bench):
            for name in METAL:
                if name in standing:
                    setattr(bench, name, standing[name])
        else:
            bench.signals.update({name: bool(value) for name, value in standing.items()})

    def add_causes(self, causes: Sequence[Cause]) -> None:
        """Let causes act that were not known before."""
        self.bench.causes.add(causes)

    def limit_speed(self, share: float) -> None:
        """Move no faster than this share of full speed, from the next action on."""
        if isinstance(self.bench, Bench):
            self.bench.speed_share = share

    def reseed(self, seed: int | str) -> None:
        """Draw what is yet to come by chance anew."""
        self.bench.rng.seed(seed)

    def work_by_hand(self, kind: str, bolt: int, torque_nm: float) -> None:
        """Let people do to a bolt what a record of this kind proves."""
        if isinstance(self.bench, Bench):
            work_by_hand(self.bench, kind, bolt, torque_nm)

    def wake(self) -> None:
        """Forget what only the memory of a process holds: what the camera found."""
        if isinstance(self.bench, Bench):
            self.bench.estimates = Estimates()


class Arm(Shell):
    """A simulated arm."""

    def work_by_hand(self, kind: str, bolt: int, torque_nm: float, now_us: int) -> list[Message]:
        """Let people do to a bolt of this side what a record of this kind proves."""
        bench = self.bench
        if isinstance(bench, HandWorked):
            self._now_us = now_us
            bench.tell_time(now_us)
            bench.work_by_hand(kind, bolt, torque_nm)
            if changes := self._facts.changes():
                self._say(SimulatedFacts(changes))
        return self._flush()

    @classmethod
    def on(
        cls,
        settings: Settings,
        steel: Steel,
        causes: Causes,
        seed: int | str,
        *,
        store: LedgerStore | None = None,
        origin_us: int = 0,
    ) -> "Arm":
        """Put an arm beside the steel.

        Args:
            settings: Its name is the side's name.
            steel: Its own replica.
            causes: The case as it sees it, counted for it alone.
            seed: Of the whole run; the arm splits its own generators off.
            store: Where its ledger is kept; in memory by default.
            origin_us: When the case begins on the cell's clock.
        """
        clock = Clock(origin_us)
        dice = Random(f"{seed}:{settings.name}")
        bench = Bench(settings.name, steel, causes, dice, clock.now_s)
        return cls(
            settings,
            SteelWorkbench(bench, clock),
            Ledger(MemoryStore() if store is None else store),
            Random(f"{seed}:{settings.name}:start"),
        )


def work_by_hand(bench: Bench, kind: str, bolt: int, torque_nm: float) -> None:
    """Do to a bolt what a record of this kind proves, where an arm could not.

    It is written into the replica of the bolt's own side: one writer per fact.

    Args:
        bench: Of the bolt's side.
        kind: Of the record; of a kind that leaves the steel alone nothing is done.
        bolt: Which.
        torque_nm: What the person measured; 0 where nothing is.
    """
    steel, key = bench.steel, f"bolt.{bolt}"
    if kind in ("pull", "confirm", "check"):
        load_n = Nut.under(bench, bolt).law.load_n(torque_nm)
        steel.write(f"{key}.advance_m", steel.advance_for(bolt, load_n))
    elif kind == "run-up":
        steel.write(f"{key}.crossed", False)
        steel.write(f"{key}.broken", False)
        steel.write(f"{key}.where", "hole")
        steel.write(f"{key}.turns", steel.shoulder_turns)
        steel.write(f"{key}.advance_m", steel.advance_for(bolt, 0.0))
        if bench.holding == bolt:
            bench.holding = 0
    elif kind == "break-out":
        steel.write(f"{key}.advance_m", FREE_ADVANCE_M)
        steel.write(f"{key}.broken_out", True)
