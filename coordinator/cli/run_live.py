"""Run a sequence in real time on a bus, with simulated parties of our own or real ones.

Every party is a process of its own; journal and records are kept as on a real cell.

Units: ``*_us`` whole microseconds since the Unix epoch unless it says since the run began;
``*_s`` seconds.
Keeps: R2, however a run ends, its journal is closed and none of its processes is left.
"""

import asyncio
import contextlib
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from coordinator.cli.cell_clock import CellClock
from coordinator.cli.children import Cast, Children
from coordinator.cli.foresight import Foresight
from coordinator.cli.hurry import hurried
from coordinator.cli.live_lines import LiveLines
from coordinator.cli.look_ahead_process import Asked
from coordinator.cli.output import CAUTION, caps_words
from coordinator.cli.party_process import run_arm, run_floor
from coordinator.cli.simulated import Simulation, to_causes
from coordinator.cli.terminal_prompts import WHO, PromptDesk, TerminalInput
from coordinator.cli.terminal_words import Words
from coordinator.core.decide import begin
from coordinator.core.plan import Caps, Mode
from coordinator.live.alarms import Alarms
from coordinator.live.broker import EmbeddedBroker
from coordinator.live.coordinator import Coordinator, Observers
from coordinator.live.hold_stories import HoldStories, TellStories
from coordinator.live.link import Presence
from coordinator.live.mqtt_link import Address, MqttLink
from coordinator.live.operator import OperatorScript
from coordinator.live.recording import record_into
from coordinator.live.runtime import Outcome, Runtime
from coordinator.live.translate import COORDINATOR
from coordinator.records.journal import Head, Journal, PinnedFile
from coordinator.records.rows import RecordFilter, Run
from coordinator.records.store import RecordStore
from coordinator.sequence import Case, Loaded, People
from coordinator.sequence.read import root_of
from coordinator.wire.codec import to_time
from coordinator.wire.messages import Message, PartyState
from coordinator.wire.topics import ROOT, subscriptions_of_coordinator

__all__ = ["LiveResult", "run_arm", "run_floor", "run_live"]

SPEED_FILE = "speed"
"""Pinned with the files of a hurried run: a replay must hurry its plan alike."""
CAPS_FILE = "caps"
"""Pinned with the files of a capped run: torque and share of speed."""
START_S = 2.0
"""Chosen: what the parties' processes were seen to need on a small machine; later does no harm."""
WATCH_S = 0.5
"""Chosen: how often we look whether the parties' processes still live."""


@dataclass(frozen=True, slots=True)
class LiveResult:
    """How a run ended."""

    phase: str
    reason: str
    run: str
    records: int
    elapsed_us: int
    """Time of the cell since the run began."""


@dataclass(frozen=True, slots=True)
class _Wishes:
    """What is asked of a run."""

    loaded: Loaded
    sequence_path: Path
    joint_path: Path | None
    out: Path
    seed: int
    case: Case | None
    people: Case | People | None
    speed: float
    interactive: bool
    simulated: bool
    look_ahead: int
    mode: Mode
    say: Callable[[str], None]


def run_live(
    loaded: Loaded,
    sequence_path: Path,
    *,
    joint_path: Path | None = None,
    broker: str | None,
    out: Path,
    seed: int = 1,
    case: Case | None = None,
    answers: People | None = None,
    speed: float = 1.0,
    interactive: bool = False,
    simulated: bool = True,
    look_ahead: int = 0,
    mode: Mode = Mode.AUTOMATIC,
    say: Callable[[str], None],
) -> LiveResult:
    """Run a sequence to its end, or until it is held with nobody there to go on.

    Args:
        loaded: The sequence.
        sequence_path: Its file, which the parties' processes read again.
        joint_path: A joint instead of the one that the sequence names.
        broker: ``mqtt://host:port``; None to start one here.
        out: Folder for the run's folder and the record store.
        seed: Of everything random in the simulated world.
        case: What goes wrong, and what people do about it.
        answers: What people answer and do, instead of what the case says.
        speed: How much faster than the wall the simulated cell lives.
        interactive: A person at the terminal answers and acts.
        simulated: Start simulated parties; False waits for those on the broker.
        look_ahead: How often each answer to a prompt is tried beforehand; 0 for never.
        mode: Set before the start.
        say: Takes lines for people.

    Raises:
        ValueError: wishes that do not go together, a bad address, a folder that cannot be made.
        LinkUnreachable: LNK005.
        BrokerFailed: LNK010.
        JournalFailed: JNL001.
        RecordsFailed: REC001.
        OutdatedCoordinator: LNK008.
    """
    if not speed > 0:
        raise ValueError(f"speed is {speed:g}, must be above 0")
    if not simulated and speed != 1.0:
        raise ValueError(f"speed is {speed:g}, must be 1 with real parties: they live in real time")
    if not simulated and broker is None:
        raise ValueError("real parties need the address of the broker that they are on")
    people = answers or case
    wishes = _Wishes(
        loaded=loaded,
        sequence_path=sequence_path,
        joint_path=joint_path,
        out=out,
        seed=seed,
        case=case,
        people=people,
        speed=speed,
        interactive=interactive,
        simulated=simulated,
        look_ahead=look_ahead,
        mode=mode,
        say=say,
    )
    with contextlib.ExitStack() as stack:
        if broker is None:
            own = stack.enter_context(EmbeddedBroker())
            broker = f"mqtt://{own.host}:{own.port}"
        else:
            # Before anything is made: a wrong address should leave nothing behind.
            asyncio.run(_probe(Address.parse(broker)))
        return _Session(wishes, broker).run()


async def _probe(address: Address) -> None:
    link = MqttLink(address, "probe", (), f"{ROOT}-probe-{time.time_ns()}")
    await link.open()
    await link.close()


class _Session:
    """One run between its broker, its files and its terminal."""

    def __init__(self, wishes: _Wishes, broker: str) -> None:
        self._wishes = wishes
        self._broker = broker
        start_us = time.time_ns() // 1_000
        lead_s = START_S if wishes.simulated else 0.0
        self._clock = CellClock(start_us + int(lead_s * 1e6), wishes.speed)
        self._origin_us = self._clock.base_us
        self._epoch = self._origin_us // 1_000_000
        moment = datetime.fromtimestamp(start_us / 1e6, UTC)
        self._run = f"{moment:%Y%m%dT%H%M%S_%fZ}_{wishes.loaded.plan.name}"
        self._folder = wishes.out / self._run
        self._plan = hurried(wishes.loaded.plan, wishes.speed)

    def run(self) -> LiveResult:
        """Run to the end, and close everything however it ends."""
        plan, wishes = self._wishes.loaded.plan, self._wishes
        try:
            self._folder.mkdir(parents=True)
        except OSError as error:
            raise ValueError(f"{self._folder}: {error.strerror}; name another folder") from None
        wishes.say(f"{self._banner()}{plan.name}, run {self._run}. {CAUTION}")
        store = RecordStore(f"sqlite:///{wishes.out / 'records.sqlite'}")
        with contextlib.closing(store):
            run = self._begin_run(store)
            outcome = Outcome("held", "left by an error of ours")
            try:
                outcome = self._run_between(store, run)
            except KeyboardInterrupt:
                outcome = Outcome("held", "interrupted")
            finally:
                ended = to_time(time.time_ns() // 1_000)
                store.end_run(self._run, outcome.phase, outcome.reason, ended)
            count = len(store.list_records(RecordFilter(run=self._run)))
        elapsed_us = max(self._now_us(), 0)
        return LiveResult(outcome.phase, outcome.reason, self._run, count, elapsed_us)

    def _run_between(self, store: RecordStore, run: Run) -> Outcome:
        """Run with journal and parties open."""
        with contextlib.closing(Journal.create(self._folder / "journal.sqlite", self._head())) as j:
            j.mark_opened(self._epoch, 0, to_time(self._origin_us))
            with self._parties() as children:
                time.sleep(max(self._origin_us - time.time_ns() // 1_000, 0) / 1e6)
                return asyncio.run(self._drive(store, run, j, children))

    @contextlib.contextmanager
    def _parties(self) -> Iterator[Children | None]:
        wishes = self._wishes
        if not wishes.simulated:
            yield None
            return
        causes = to_causes(wishes.case.causes) if wishes.case else ()
        names = Simulation(wishes.loaded, wishes.seed).names
        paths = wishes.sequence_path, wishes.joint_path
        cast = Cast(names, *paths, wishes.seed, causes, self._clock)
        with Children(cast, self._broker, self._folder.absolute()) as children:
            yield children

    async def _drive(
        self, store: RecordStore, run: Run, journal: Journal, children: Children | None
    ) -> Outcome:
        plan, wishes = self._plan, self._wishes
        state = begin(plan, first_command=self._first_command)
        alarms, stories = Alarms(plan), HoldStories(plan)
        desk, keys = PromptDesk(Words(plan, WHO, self._now_us, alarms)), TerminalInput()
        lines = LiveLines(
            plan, state, self._now_us, wishes.say, typed=lambda: keys.typed, banner=self._banner()
        )
        records = record_into(store, plan, run, self._origin_us)
        foresight = Foresight(plan, self._asked(), wishes.say)
        told = TellStories(stories, wishes.say)
        listeners = (alarms, desk, lines, told, *((foresight,) if wishes.look_ahead else ()))
        coordinator = Coordinator(
            plan,
            epoch=self._epoch,
            origin_us=self._origin_us,
            observers=Observers(journal, records, listeners),
            state=state,
        )
        runtime = Runtime(
            coordinator,
            self._link(),
            self._clock,
            script=self._script(),
            interactive=wishes.interactive,
            speed=wishes.speed,
            on_link=lambda note: wishes.say(note.text),
        )

        def take_line(line: str) -> None:
            call = desk.read(line)
            if isinstance(call, str):
                wishes.say(call)
            else:
                runtime.submit(call)

        with contextlib.ExitStack() as stack:
            if wishes.interactive:
                stack.enter_context(keys.reading(take_line))
            stack.enter_context(lines.shown())
            watching = asyncio.create_task(self._watch(children, runtime))
            try:
                return await runtime.run()
            finally:
                watching.cancel()
                await foresight.close()

    def _asked(self) -> Asked:
        wishes = self._wishes
        causes = self._folder.absolute() / "causes.json"
        return Asked(
            sequence=str(wishes.sequence_path.absolute()),
            joint=None if wishes.joint_path is None else str(wishes.joint_path.absolute()),
            seed=wishes.seed,
            node="",
            fault="",
            repeats=wishes.look_ahead,
            causes=str(causes) if wishes.simulated else None,
        )

    async def _watch(self, children: Children | None, runtime: Runtime) -> None:
        """Hold and leave once a process of ours has ended: its party will not come back."""
        while children is not None:
            await asyncio.sleep(WATCH_S)
            ended = children.ended()
            for text in ended:
                self._wishes.say(text)
            if ended:
                runtime.interrupt()
                return

    def _script(self) -> OperatorScript:
        wishes = self._wishes
        people = wishes.people
        return OperatorScript(
            self._plan,
            people.answers if people else (),
            people.acts if people else (),
            # Real arms are started by a person's word, if there is a person.
            starts=False if wishes.interactive and not wishes.simulated else None,
            mode=wishes.mode,
        )

    def _link(self) -> MqttLink:
        cell = self._wishes.loaded.cell.cell
        presence = Presence(self._presence(online=True), self._presence(online=False))
        identifier = f"{ROOT}-{cell}-{COORDINATOR}"
        address = Address.parse(self._broker)
        return MqttLink(address, cell, subscriptions_of_coordinator(cell), identifier, presence)

    def _presence(self, *, online: bool) -> Message:
        body = PartyState(online=online, simulated=self._wishes.simulated)
        return Message(COORDINATOR, COORDINATOR, 0, self._epoch, self._origin_us, body)

    def _head(self) -> Head:
        wishes = self._wishes
        root = root_of(wishes.sequence_path)
        files = [
            PinnedFile.of(name, (root / name).read_text(encoding="utf-8"))
            for name, _ in wishes.loaded.files
        ]
        if self._plan.caps != Caps():
            caps = f"{self._plan.caps.torque_nm} {self._plan.caps.speed_share}\n"
            files.append(PinnedFile.of(CAPS_FILE, caps))
        if wishes.speed != 1.0:
            files.append(PinnedFile.of(SPEED_FILE, f"{wishes.speed!r}\n"))
        return Head(
            self._run,
            wishes.loaded.plan.digest,
            tuple(files),
            wishes.seed,
            self._origin_us,
            to_time(self._origin_us),
            wishes.simulated,
            first_command=self._first_command,
        )

    @property
    def _first_command(self) -> int:
        """Above every number of earlier runs, which the parties' ledgers still know."""
        return self._origin_us // 1_000

    def _begin_run(self, store: RecordStore) -> Run:
        loaded = self._wishes.loaded
        run = Run(
            self._run,
            loaded.joint.name,
            loaded.plan.name,
            plan_digest=loaded.plan.digest,
            started=to_time(self._origin_us),
            simulated=self._wishes.simulated,
            tolerance=loaded.joint.tolerance,
        )
        store.begin_run(run)
        return run

    def _banner(self) -> str:
        if not self._wishes.simulated:
            return caps_words(self._plan.caps)
        faster = f" at {self._wishes.speed:g} times life" if self._wishes.speed != 1.0 else ""
        return f"SIMULATED{faster}: {caps_words(self._plan.caps)}"

    def _now_us(self) -> int:
        """Return the time since the run began."""
        return self._clock() - self._origin_us
