"""Crash the coordinator of a virtual cell at every journal commit and every publish, and resume.

Units: ``*_us`` whole microseconds since the run began.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from coordinator.core.events import (
    CommandProgressed,
    Event,
    PartySeen,
    SignalSeen,
    TimePassed,
)
from coordinator.core.state import State
from coordinator.live.coordinator import Coordinator, Observers, Proof
from coordinator.live.operator import OperatedCoordinator
from coordinator.live.resuming import progress_of
from coordinator.records.journal import Head, Journal, JournalFailed
from coordinator.records.replaying import Replaying
from coordinator.rehearse.simulated import Simulation
from coordinator.sequence import Loaded
from coordinator.wire.messages import Lease, Message
from sim_arms.network import Network
from sim_arms.world import World
from tests.support.arm_side import ArmSide, KeptLedger
from tests.support.crash_people import patient_person
from tests.support.disks import MemoryDisk

COMMIT_MODES = ("before", "after", "torn", "eio", "eio_kept", "enospc", "full_for_ever")
"""Dead before or after the commit, or in the middle of its write, or told of an error with none or
all of it kept, or refused the space, once or for ever."""
LIKE = {"torn": "before", "enospc": "eio"}
"""Modes after which everything is as after another one: as much is durable, as much was sent."""
KEPT_MODES = ("", "after", "eio_kept")
ERROR_MODES = ("eio", "eio_kept", "enospc", "full_for_ever")
PUBLISH_MODE = "unsent"
SETTLED_US = 2_000_000
"""Chosen: longer than any report needs to arrive."""
DOWN_US = (150_000, 700_000, 5_000_000)
"""Chosen: within the lease, just beyond it, beyond the silence of a party."""
LONG_DOWN_US = 40_000_000
LONG_DOWN_EVERY = 32
"""Chosen: long gone, at each so-many-th place."""
TIME_US_MAX = 3600 * 1_000_000
"""Chosen: twice the longest make-up shipped; a run that is not over then hangs."""
ENDED = ("complete", "stopped", "aborted")
AGAIN_MAX = 6
DEAD_US = 10_000_000
"""Chosen: far longer than a lease and the longest stroke."""
RECOVERY_US_MAX = 600_000_000
"""Chosen: several times the longest step; a recovery that takes longer hangs."""
AFRESH_EVERY = 50
"""Chosen: at each so-many-th site the whole journal is decided again, not only what is new."""
TEAR_BESIDE = 4
_QUIET = (TimePassed, PartySeen, SignalSeen, CommandProgressed)
"""Events after which, nearly always, nothing but the lease leaves."""


def down_us_at(number: int) -> int:
    """Return how long a coordinator is away that died at the `number`-th place."""
    return DOWN_US[number % len(DOWN_US)] if number % LONG_DOWN_EVERY else LONG_DOWN_US


class Crashed(BaseException):
    """The process is gone; nothing may catch it."""


@dataclass(frozen=True, slots=True)
class Site:
    """A place at which the coordinator can die: the `number`-th commit, or publish."""

    kind: str
    number: int
    is_lease: bool
    """Nothing but the lease is renewed here."""
    is_first: bool
    """Nothing has been sent since the commit."""


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
    """Keeps events in memory and asks at each commit whether this is where we die.

    What stands here for the file is shown of the file itself in the unit tests of the journal;
    only a torn write goes through a file's bytes here too.
    """

    def __init__(self, cell: "CrashCell") -> None:
        self.events: list[Event] = []
        self._cell = cell
        self._pending: list[Event] = []
        self._is_failed = False

    def append(self, event: Event) -> None:
        """Take an event in."""
        self._require_sound()
        self._pending.append(event)

    def commit(self, state: State) -> None:
        """Make durable what was taken in, unless we die here."""
        self._require_sound()
        self._cell.is_renewing = all(isinstance(one, _QUIET) for one in self._pending)
        mode = self._cell.reach("commit")
        pending, self._pending = self._pending, []
        if mode == "torn":
            self._cell.wrong += tear(self.events[-TEAR_BESIDE:], pending)
        if mode in KEPT_MODES:
            self.events += pending
            self._cell.keep(pending)
        if mode in ERROR_MODES:
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


def tear(before: Sequence[Event], pending: Sequence[Event]) -> list[str]:
    """Break the write of `pending` off at many places; say where what was before is not found."""
    path, disk = Path("journal.log"), MemoryDisk()
    journal = Journal.create_on(disk, path, Head("run", ""))
    for event in before:
        journal.append(event)
    journal.commit()
    begin = len(bytes(disk.content).rstrip(b"\0"))
    for event in pending:
        journal.append(event)
    journal.commit()
    end = len(bytes(disk.content).rstrip(b"\0"))
    wrong = []
    for length in {1, 20, 40, (end - begin) // 2, end - begin - 1} - {0, end - begin}:
        cut = begin + min(length, end - begin - 1)
        torn = MemoryDisk(bytes(disk.content[:cut]) + bytes(len(disk.content) - cut))
        found = Journal.take_up_on(torn, path)
        if not found.torn_bytes or tuple(found.read_events()) != tuple(before):
            wrong.append(f"torn after {length} bytes: not found")
    return wrong


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
            if self._cell.reach("publish", message, is_first=index == 0):
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
    ) -> None:
        """Build the cell.

        Args:
            loaded: The sequence.
            at_site: Says how to die at a site, or "" to live on.
            seed: Of the world.
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
        self.wrong: list[str] = []
        self.runs_on = True
        """False to end soon after a recovery, when both accounts of what is done agree."""
        self.is_dead_for_ever = False
        self._epoch = 1
        self._replaying = Replaying(loaded.plan)
        """What is durable, decided again: a resumed coordinator goes on from here."""
        self.journal = CrashJournal(self)
        simulation = Simulation(loaded, seed)
        for name in simulation.names:
            self.arm_side.stores[name] = KeptLedger()
        self.party = CrashParty(self, self._coordinator(is_resumed=False))
        self.world = World(
            [simulation.party(name, self.arm_side.stores[name]) for name in simulation.names],
            self.party,
            Network(seed),
            traced=self.arm_side.heard,
        )

    def reach(self, kind: str, message: Message | None = None, *, is_first: bool = False) -> str:
        """Count a site; return how to die here, "" not to."""
        self.counts[kind] += 1
        is_lease = self.is_renewing if message is None else isinstance(message.body, Lease)
        return self.at_site(Site(kind, self.counts[kind], is_lease, is_first))

    def keep(self, events: Sequence[Event]) -> None:
        """Decide again what has become durable."""
        for event in events:
            self._replaying.take(event)

    def run(self) -> Finding:
        """Run to the end, resuming after each crash, and judge what came out."""
        while True:
            self.world.run(self._is_over, TIME_US_MAX)
            if not self.party.is_dead:
                break
            self.crashes += 1
            if self.crashes > AGAIN_MAX or self.is_dead_for_ever:
                self.world.run(lambda: False, self.world.now_us + DEAD_US)
                break
            self._come_back()
            if self._settle() and not self.runs_on:
                break
        state = self.party.inner.coordinator.state
        phase = "dead" if self.party.is_dead else state.phase
        wrong = [*self.wrong, *self._judge(phase)]
        return Finding([], self.down_us, self.crashes, phase, state.reason, wrong)

    def _is_over(self) -> bool:
        return self.party.is_dead or self.party.inner.coordinator.state.phase in ENDED

    def _settle(self) -> bool:
        """Run until nothing is in doubt any more; false if it died again before."""
        late_us = self.world.now_us + RECOVERY_US_MAX
        self.world.run(lambda: self._is_over() or self._is_settled(), late_us)
        if self.world.now_us >= late_us:
            self.wrong.append("the recovery takes too long")
        self.is_recovering = False
        self.world.run(self._is_over, self.world.now_us + SETTLED_US)
        return not self.party.is_dead

    def _is_settled(self) -> bool:
        state = self.party.inner.coordinator.state
        return (
            state.phase == "running"
            and not state.prompts
            and not any(lane.rest.held or lane.at.fault or lane.queue for lane in state.lanes)
        )

    def _come_back(self) -> None:
        """Stay away for a while, then go on from what is durable."""
        self.world.run(lambda: False, self.world.now_us + self.down_us)
        self.journal.forget_pending()
        self.is_recovering = True
        self._epoch += 1
        self.party = CrashParty(self, self._coordinator(is_resumed=True))
        self.world.coordinator = self.party
        self.world.post(self.party.resume(self.world.now_us), self.party.name)

    def _coordinator(self, *, is_resumed: bool) -> OperatedCoordinator:
        plan = self.loaded.plan
        progress = None
        if is_resumed:
            if len(self.journal.events) % AFRESH_EVERY == 0:
                self._decide_afresh()
            recorded = [(one.effect.party, one.effect.command) for one in self.proofs]
            progress = progress_of(self._replaying, recorded)
        coordinator = Coordinator(
            plan,
            epoch=self._epoch,
            observers=Observers(self.journal, self.proofs.append),
            progress=progress,
        )
        return OperatedCoordinator(coordinator, patient_person(plan))

    def _decide_afresh(self) -> None:
        afresh = Replaying(self.loaded.plan)
        for event in self.journal.events:
            afresh.take(event)
        if afresh.state != self._replaying.state:
            self.wrong.append("deciding the journal again leads elsewhere")

    def _judge(self, phase: str) -> list[str]:
        side, plan = self.arm_side, self.loaded.plan
        wrong = side.double_pulls() + side.repeated_steps(plan)
        if phase == "complete":
            wrong += side.missing_steps(plan) + self._judge_proofs()
        elif phase == "dead":
            states = [getattr(party, "state", "held") for party in self.world.parties]
            wrong += [f"left {state}" for state in states if state in ("running", "holding")]
        elif phase == "running" and not self.runs_on:
            differing = self._differences()
            if differing:
                # A report may be on its way just now; what is lost stays different.
                self.world.run(lambda: False, self.world.now_us + SETTLED_US)
                later = self._differences()
                wrong += [one for one in differing if one in later]
        elif phase != "held":
            wrong.append(f"ended {phase}")
        return wrong

    def _differences(self) -> list[str]:
        plan, state = self.loaded.plan, self.party.inner.coordinator.state
        done = [any(lane.is_done(i) for lane in state.lanes) for i in range(len(plan.nodes))]
        return self.arm_side.differences(plan, done)

    def _judge_proofs(self) -> list[str]:
        """Each proof of the journal must be recorded, and once."""
        self.party.inner.coordinator.settle_owed()
        recorded = [(one.effect.party, one.effect.command) for one in self.proofs]
        wanted = [(effect.party, effect.command) for effect, _ in self._replaying.proofs]
        return [] if sorted(recorded) == sorted(wanted) else ["records differ from the journal"]
