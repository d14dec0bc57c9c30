"""Crash the coordinator of a virtual cell at every journal commit and every publish, and resume.

Units: ``*_us`` whole microseconds since the run began.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from coordinator.cli.simulated import Simulation
from coordinator.core.events import (
    CommandProgressed,
    Event,
    PartySeen,
    SignalSeen,
    TimePassed,
)
from coordinator.live.coordinator import Coordinator, Observers, Proof
from coordinator.live.operator import OperatedCoordinator
from coordinator.live.resuming import replay_events
from coordinator.records.journal import JournalFailed
from coordinator.sequence import Loaded
from coordinator.wire.messages import Lease, Message
from sim_arms.network import Network
from sim_arms.world import World
from tests.support.arm_side import ArmSide, KeptLedger
from tests.support.crash_people import patient_person

COMMIT_MODES = ("before", "after", "torn", "eio", "eio_kept", "enospc")
"""Dead before or after the commit, with half of it kept, or told of an error with none or all of
it kept, or refused the space."""
PUBLISH_MODE = "unsent"
DOWN_US = (150_000, 700_000, 5_000_000, 40_000_000)
"""Chosen: within the lease, just beyond it, beyond the silence of a party, long gone."""
TIME_US_MAX = 3600 * 1_000_000
"""Chosen: twice the longest make-up shipped; a run that is not over then hangs."""
ENDED = ("complete", "stopped", "aborted")
AGAIN_MAX = 6
_QUIET = (TimePassed, PartySeen, SignalSeen, CommandProgressed)
"""Events after which, nearly always, nothing but the lease leaves."""


class Crashed(BaseException):
    """The process is gone; nothing may catch it."""


@dataclass(frozen=True, slots=True)
class Site:
    """A place at which the coordinator can die: the `number`-th commit, or publish."""

    kind: str
    number: int
    is_lease: bool
    """Nothing but the lease is renewed here."""


@dataclass(slots=True)
class Finding:
    """What became of one crash."""

    sites: list[tuple[str, int, str]] = field(default_factory=list)
    """(kind, number, mode) of each crash; the second number counts from the first crash."""
    down_us: int = 0
    crashes: int = 0
    phase: str = ""
    reason: str = ""
    wrong: list[str] = field(default_factory=list)


class CrashJournal:
    """Keeps events in memory and asks at each commit whether this is where we die."""

    def __init__(self, cell: "CrashCell") -> None:
        self.events: list[Event] = []
        self._cell = cell
        self._pending: list[Event] = []
        self._is_failed = False

    def append(self, event: Event) -> None:
        """Take an event in."""
        self._require_sound()
        self._pending.append(event)

    def commit(self) -> None:
        """Make durable what was taken in, unless we die here."""
        self._require_sound()
        self._cell.is_renewing = all(isinstance(one, _QUIET) for one in self._pending)
        mode = self._cell.reach("commit")
        pending, self._pending = self._pending, []
        if mode in ("", "after", "eio_kept"):
            self.events += pending
        elif mode == "torn":
            self.events += pending[: len(pending) // 2]
        if mode in ("eio", "eio_kept", "enospc"):
            self._is_failed = True
            raise JournalFailed(f"{mode} [JNL001]")
        if mode:
            raise Crashed

    def forget_pending(self) -> None:
        """What was never committed is gone with the process."""
        self._pending = []
        self._is_failed = False

    def _require_sound(self) -> None:
        if self._is_failed:
            raise JournalFailed("failed before [JNL001]")


class CrashParty:
    """The coordinator on the bus, until it dies between two messages."""

    name = "coordinator"

    def __init__(self, cell: "CrashCell", inner: OperatedCoordinator) -> None:
        self._cell = cell
        self.inner = inner
        self.is_dead = False

    def receive(self, message: Message, now_us: int, retained: bool = False) -> list[Message]:
        """Take in one message."""
        return self._guard(lambda: self.inner.receive(message, now_us, retained), now_us)

    def advance(self, now_us: int) -> list[Message]:
        """Let time pass."""
        return self._guard(lambda: self.inner.advance(now_us), now_us)

    def resume(self, now_us: int) -> list[Message]:
        """Go on where the one before died."""
        return self._guard(lambda: self.inner.coordinator.resume(now_us), now_us)

    def next_us(self) -> int | None:
        """Return when it wants to be advanced; the dead want nothing."""
        return None if self.is_dead else self.inner.next_us()

    def _guard(self, act: Callable[[], list[Message]], now_us: int) -> list[Message]:
        if self.is_dead:
            return []
        try:
            messages = act()
        except Crashed:
            self.is_dead = True
            return []
        except JournalFailed:
            # As the runtime does: hold without asking the core, then end; nothing is tried again.
            self.is_dead = True
            return self.inner.coordinator.hold_messages("JournalFailed", now_us)
        for index, message in enumerate(messages):
            if self._cell.reach("publish", message):
                self.is_dead = True
                return messages[:index]
        return messages


class CrashCell:
    """A virtual cell whose coordinator can die, and the person beside it."""

    def __init__(
        self,
        loaded: Loaded,
        at_site: Callable[[Site], str],
        *,
        seed: int = 1,
        disk_full_for_ever: bool = False,
    ) -> None:
        """Build the cell.

        Args:
            loaded: The sequence.
            at_site: Says how to die at a site, or "" to live on.
            seed: Of the world.
            disk_full_for_ever: After a crash no journal can be written any more.
        """
        self.loaded = loaded
        self.at_site = at_site
        self.counts = {"commit": 0, "publish": 0}
        self.crashes = 0
        self.down_us = DOWN_US[0]
        self.proofs: list[Proof] = []
        self.arm_side = ArmSide()
        self.is_recovering = False
        self.is_renewing = False
        self._disk_full_for_ever = disk_full_for_ever
        self._epoch = 1
        self.journal = CrashJournal(self)
        simulation = Simulation(loaded, seed)
        for name in simulation.names:
            self.arm_side.stores[name] = KeptLedger()
        self.party = CrashParty(self, self._coordinator(None))
        self.world = World(
            [simulation.party(name, self.arm_side.stores[name]) for name in simulation.names],
            self.party,
            Network(seed),
            traced=self.arm_side.heard,
        )

    def reach(self, kind: str, message: Message | None = None) -> str:
        """Count a site; return how to die here, "" not to."""
        self.counts[kind] += 1
        is_lease = self.is_renewing if message is None else isinstance(message.body, Lease)
        return self.at_site(Site(kind, self.counts[kind], is_lease))

    def run(self) -> Finding:
        """Run to the end, resuming after each crash, and judge what came out."""
        finding = Finding()
        while True:
            self.world.run(self._is_over, TIME_US_MAX)
            if not self.party.is_dead:
                break
            self.crashes += 1
            if self.crashes > AGAIN_MAX or self._disk_full_for_ever:
                self.world.run(lambda: False, self.world.now_us + 20_000_000)
                finding.phase = "dead"
                break
            self._come_back()
        state = self.party.inner.coordinator.state
        finding.phase = finding.phase or state.phase
        finding.reason = state.reason
        finding.crashes = self.crashes
        finding.wrong = self._judge(finding.phase)
        return finding

    def _is_over(self) -> bool:
        if self.party.is_dead:
            return True
        state = self.party.inner.coordinator.state
        if state.phase == "running":
            self.is_recovering = False
        return state.phase in ENDED

    def _come_back(self) -> None:
        """Stay away for a while, then go on from what is durable."""
        self.world.run(lambda: False, self.world.now_us + self.down_us)
        self.journal.forget_pending()
        self.is_recovering = True
        self._epoch += 1
        self.party = CrashParty(self, self._coordinator(self.journal.events))
        self.world.coordinator = self.party
        self.world.post(self.party.resume(self.world.now_us), self.party.name)

    def _coordinator(self, events: Sequence[Event] | None) -> OperatedCoordinator:
        plan = self.loaded.plan
        progress = None
        if events is not None:
            recorded = [(one.effect.party, one.effect.command) for one in self.proofs]
            progress = replay_events(plan, events).progress(recorded)
        coordinator = Coordinator(
            plan,
            epoch=self._epoch,
            observers=Observers(self.journal, self.proofs.append),
            progress=progress,
        )
        return OperatedCoordinator(coordinator, patient_person(plan))

    def _judge(self, phase: str) -> list[str]:
        side = self.arm_side
        wrong = side.double_pulls() + side.repeated_steps(self.loaded.plan)
        if phase == "complete":
            wrong += side.missing_steps(self.loaded.plan) + self._judge_proofs()
        elif phase == "dead":
            states = [getattr(party, "state", "held") for party in self.world.parties]
            wrong += [f"left {state}" for state in states if state in ("running", "holding")]
        elif phase != "held":
            wrong.append(f"ended {phase}")
        return wrong

    def _judge_proofs(self) -> list[str]:
        """Each proof of the journal must be recorded, and once."""
        self.party.inner.coordinator.settle_owed()
        recorded = [(one.effect.party, one.effect.command) for one in self.proofs]
        replayed = replay_events(self.loaded.plan, self.journal.events).proofs
        wanted = [(effect.party, effect.command) for effect, _ in replayed]
        return [] if sorted(recorded) == sorted(wanted) else ["records differ from the journal"]
