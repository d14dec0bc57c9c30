"""Keep one run between its broker, its files and its terminal, from its start or from a crash on.

Every party is a process of its own; journal and records are kept as on a real cell.

Units: ``*_us`` whole microseconds since the Unix epoch unless it says since the run began;
``*_s`` seconds.
Invariants: LV11, however a run ends, its journal is closed and none of its processes is left.
"""

import asyncio
import contextlib
import time
from collections.abc import Iterator
from dataclasses import asdict
from datetime import UTC, datetime
from functools import partial

from coordinator.cautions import CAUTION
from coordinator.core.events import ModeSet, PersonEvent
from coordinator.core.plan import Mode
from coordinator.core.state import State
from coordinator.live.alarms import Alarms
from coordinator.live.caps_words import caps_words
from coordinator.live.coordinator import Coordinator, Observers, Progress
from coordinator.live.hold_stories import HoldStories, TellStories
from coordinator.live.hurry import SPEED_FILE, hurried
from coordinator.live.link import Link, Presence
from coordinator.live.mqtt_link import leave_out_lost_sockets
from coordinator.live.operator import OperatorScript
from coordinator.live.person_calls import PersonCalls
from coordinator.live.readiness import Readiness, TellMissing
from coordinator.live.recording import record_into
from coordinator.live.resuming import progress_of
from coordinator.live.runtime import Outcome, Runtime
from coordinator.live.shadow import Comparison
from coordinator.operate.at_terminal import AtTerminal
from coordinator.operate.broken_off import BROKEN_OFF, is_full, left_held
from coordinator.operate.calibration import calibrations_of
from coordinator.operate.cell_clock import CellClock
from coordinator.operate.cell_drawing import CellDrawing
from coordinator.operate.children import Children
from coordinator.operate.foresight import Foresight
from coordinator.operate.look_ahead_process import Asked
from coordinator.operate.party_process import CAUSES_FILE, Part
from coordinator.operate.pinned import pin, program_version
from coordinator.operate.run_link import Buses, TellLink, link_of
from coordinator.operate.run_page import RunPage
from coordinator.operate.screen import Screen
from coordinator.operate.where_was_i import AnswersTold
from coordinator.operate.wishes import LiveResult, Resumption, Wishes
from coordinator.page.board import Facts
from coordinator.page.tapped_link import TappedLink
from coordinator.records.journal import FILE_NAME, Head, Journal, PinnedFile
from coordinator.records.replaying import Replaying
from coordinator.records.rows import RecordFilter, Run
from coordinator.records.store import RecordsFailed, RecordStore, store_address
from coordinator.rehearse.simulated import Simulation
from coordinator.sequence.read import root_of
from coordinator.wire.codec import from_time, to_time
from coordinator.wire.messages import Message, PartyState
from coordinator.wire.topics import COORDINATOR

NO_CONSOLE = (
    "nobody can start this run: with a real party only a person does, and it has neither a "
    "terminal nor a page with operators; it waits. End it with Ctrl-C and run it at a terminal, "
    "or with --page and --operators"
)
START_S = 2.0
"""Chosen: what the parties' processes were seen to need on a small machine; later does no harm."""
SETTLE_S = 1.0
"""Chosen: two periods of the floor, so that every arm has heard it before anything starts."""
WATCH_S = 0.5
"""Chosen: how often we look whether the parties' processes still live."""


class Session:
    """One run between its broker, its files and its terminal."""

    def __init__(self, wishes: Wishes, buses: Buses, resumption: Resumption | None = None) -> None:
        self._wishes = wishes
        self._buses = buses
        self._comparison = Comparison(wishes.stands)
        self._resumption = resumption
        self._plan = hurried(wishes.loaded.plan, wishes.speed)
        start_us = time.time_ns() // 1_000
        lead_us = int(START_S * 1e6) if wishes.has_simulation else 0
        self._begin_us = start_us + lead_us
        """By the wall: when the parties should be there."""
        self._epoch = start_us // 1_000_000
        if resumption is None:
            self._clock = wishes.clock or CellClock(self._begin_us, wishes.speed)
            self._head = self._new_head(start_us)
        else:
            self._head = resumption.journal.head
            self._clock = CellClock(self._head.clock_base_us, wishes.speed)
            self._epoch = max(self._epoch, resumption.journal.last_epoch() + 1)
        self._origin_us = self._head.origin_us
        self._run = self._head.run
        self._folder = wishes.out / self._run
        self._screen = Screen(wishes.say, wishes.console)
        self._say = self._screen.say
        self._readiness = Readiness(self._plan)
        self._digest = ""
        self._is_under_way = resumption is not None
        """Something may have moved, so that an error leaves the run held and not unbegun."""
        self._consoles: tuple[PersonCalls, ...] = ()
        """Where people act, to be told what does not get to the core."""

    def run(self) -> LiveResult:
        """Run to the end, and close everything however it ends."""
        plan, wishes = self._wishes.loaded.plan, self._wishes
        try:
            self._folder.mkdir(parents=True, exist_ok=self._resumption is not None)
        except OSError as error:
            raise ValueError(f"{self._folder}: {error.strerror}; name another folder") from None
        self._say(f"{self._banner()}{plan.name}, run {self._run}. {CAUTION}")
        store = RecordStore(store_address(wishes.out, wishes.records))
        with contextlib.closing(store):
            run = self._begin_run(store)
            outcome = Outcome("held", "left by an error of ours")
            try:
                outcome = self._run_to_rest(store, run)
            except KeyboardInterrupt:
                outcome = Outcome("held", "interrupted")
            finally:
                ended = to_time(time.time_ns() // 1_000)
                # A full disk takes no ending either; the outcome says so already.
                with contextlib.suppress(RecordsFailed):
                    store.end_run(self._run, outcome.phase, outcome.reason, ended)
            count = len(store.list_records(RecordFilter(run=self._run)))
        return LiveResult(
            outcome.phase,
            outcome.reason,
            self._run,
            count,
            elapsed_us=max(self._now_us(), 0),
            journal_digest=self._digest,
            compared=self._comparison.report(self._clock()),
        )

    def _run_to_rest(self, store: RecordStore, run: Run) -> Outcome:
        """Run; what breaks off a run under way leaves it held, to be resumed."""
        try:
            outcome = self._run_between(store, run)
        except BROKEN_OFF as error:
            if not self._is_under_way:
                raise
            return left_held(error, self._folder, self._run)
        if outcome.phase == "held" and is_full(None, self._folder):
            # The ledger of a party fails before the journal does, and the party's process ends.
            return left_held(RecordsFailed(outcome.reason), self._folder, self._run)
        return outcome

    def _run_between(self, store: RecordStore, run: Run) -> Outcome:
        """Run with journal and parties open."""
        if self._resumption is None:
            opened = Journal.create(self._folder / FILE_NAME, self._head)
        else:
            opened = self._resumption.journal
        with contextlib.closing(opened) as journal:
            now_us = time.time_ns() // 1_000
            journal.mark_opened(self._epoch, max(self._now_us(), 0), to_time(now_us))
            with self._parties() as children:
                time.sleep(max(self._begin_us - time.time_ns() // 1_000, 0) / 1e6)
                outcome = asyncio.run(self._drive(store, run, journal, children))
            journal.commit()
            self._digest = journal.digest
            return outcome

    @contextlib.contextmanager
    def _parties(self) -> Iterator[Children | None]:
        wishes = self._wishes
        if not wishes.has_simulation:
            yield None
            return
        folder = self._folder.absolute()
        sequence = wishes.sequence_path.absolute()
        joint = None if wishes.joint_path is None else wishes.joint_path.absolute()
        parts = [
            Part(name, sequence, joint, folder, wishes.seed, wishes.causes, self._clock)
            for name in Simulation(wishes.loaded, wishes.seed).names
        ]
        with Children(parts, self._buses.ours, folder) as children:
            yield children

    async def _drive(
        self, store: RecordStore, run: Run, journal: Journal, children: Children | None
    ) -> Outcome:
        plan, wishes = self._plan, self._wishes
        alarms, stories = Alarms(plan), HoldStories(plan)
        state = self._replayed.state
        terminal = self._terminal(state, alarms)
        page = self._page(state, alarms, stories, store)
        foresight = Foresight(plan, self._asked(), self._say, page.board.foresee)
        told = AnswersTold(plan, state, self._say), TellStories(stories, self._say)
        self._consoles = (page.calls, terminal.calls)
        listeners = alarms, *terminal.listeners, *told, page.board, page.calls
        written = record_into(store, plan, run, self._origin_us)
        heard_by = (*listeners, foresight) if wishes.look_ahead else listeners
        coordinator = Coordinator(
            plan,
            epoch=self._epoch,
            origin_us=self._origin_us,
            observers=Observers(journal, page.recording(written, run, self._origin_us), heard_by),
            state=state,
            progress=self._progress(store),
            stands=wishes.stands,
        )
        runtime = Runtime(
            coordinator,
            TappedLink(page.tapped(self._link()), self._readiness.hear),
            self._clock,
            script=self._script(),
            interactive=wishes.interactive or page.has_operators,
            speed=wishes.speed,
            on_link=TellLink(self._say),
            farewell=self._presence(online=False),
        )
        asyncio.get_running_loop().set_exception_handler(leave_out_lost_sockets)
        async with contextlib.AsyncExitStack() as stack:
            submit = partial(self._submit, runtime)
            await stack.enter_async_context(page.served(submit))
            stack.enter_context(terminal.used(submit))
            tasks = [
                asyncio.create_task(self._watch(children, runtime)),
                asyncio.create_task(self._screen.keep_fresh()),
            ]
            try:
                return await runtime.run()
            finally:
                self._is_under_way |= coordinator.state.phase != "idle"
                for task in tasks:
                    task.cancel()
                await foresight.close()
                coordinator.settle_owed()

    def _terminal(self, state: State, alarms: Alarms) -> AtTerminal:
        return AtTerminal(
            self._plan,
            state,
            self._screen,
            self._now_us,
            alarms=alarms,
            banner=self._banner(),
            can_type=self._wishes.interactive,
            speed=self._wishes.speed,
        )

    def _asked(self) -> Asked:
        wishes = self._wishes
        causes = self._folder.absolute() / CAUSES_FILE
        return Asked(
            sequence=str(wishes.sequence_path.absolute()),
            joint=None if wishes.joint_path is None else str(wishes.joint_path.absolute()),
            seed=wishes.seed,
            node="",
            fault="",
            repeats=wishes.look_ahead,
            causes=str(causes) if wishes.simulated else None,
        )

    def _page(
        self, state: State, alarms: Alarms, stories: HoldStories, store: RecordStore
    ) -> RunPage:
        wishes = self._wishes
        stands = wishes.stands
        facts = Facts(
            self._run,
            wishes.simulated,
            wishes.speed,
            wishes.loaded.joint,
            stands.banner(),
            stands.caution(),
            CellDrawing(wishes.loaded),
            # Simulated arms of a new run are made parked; where others stand, nobody has said.
            tuple(wishes.loaded.cell.sides) if wishes.simulated and not self._resumption else (),
            wishes.loaded.begins.removeprefix("joint_") if not self._resumption else "",
        )
        page = RunPage(wishes.page, self._plan, state, facts, now_us=self._now_us, say=self._say)
        page.board.alarms, page.board.stories = alarms, stories
        for row in store.list_records(RecordFilter(run=self._run)):  # Of before a crash, if any.
            page.board.take_record(asdict(row), from_time(row.at) - self._origin_us)
        if not (wishes.simulated or wishes.interactive or page.has_operators):
            self._say(NO_CONSOLE)
        return page

    def _submit(self, runtime: Runtime, call: PersonEvent) -> None:
        """Pass on what a person does, unless a point that nobody has checked stands against it."""
        points = self._wishes.unchecked
        if not points or not _wants_automatic(call):
            runtime.submit(call)
            return
        text = f"no automatic mode: {len(points)} points are not checked"
        self._say(text)
        for calls in self._consoles:
            calls.refuse(call, f"{text}: {'; '.join(points)}")
        for point in points:
            self._say(f"not checked: {point}")

    @property
    def _replayed(self) -> Replaying:
        if self._resumption is not None:
            return self._resumption.replayed
        return Replaying(self._plan, self._head.first_command)

    def _progress(self, store: RecordStore) -> Progress | None:
        """Return where to go on, owing the records that the crash kept from the store."""
        if self._resumption is None:
            return None
        plan, replayed = self._plan, self._resumption.replayed
        parties = {party.name: index for index, party in enumerate(plan.parties)}
        rows = store.list_records(RecordFilter(run=self._run))
        recorded = [(parties[row.side], row.command) for row in rows]
        recorded += [
            (effect.party, effect.command)
            for effect, _ in replayed.proofs
            if plan.nodes[effect.node].record is None
        ]
        return progress_of(replayed, recorded)

    async def _watch(self, children: Children | None, runtime: Runtime) -> None:
        """Hold and leave once a process of ours has ended: its party will not come back."""
        while children is not None:
            await asyncio.sleep(WATCH_S)
            ended = children.ended()
            for text in ended:
                self._say(text)
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
            # Real arms are started by a person's word alone, also where no person is there yet.
            starts=None if wishes.simulated else False,
            mode=wishes.mode,
            steps=people.steps if people else (),
            settle_us=round(SETTLE_S * 1e6 * wishes.speed),
            missing=TellMissing(self._readiness, self._say),
        )

    def _link(self) -> Link:
        presence = Presence(self._presence(online=True), self._presence(online=False))
        return link_of(self._wishes, self._buses, presence, self._comparison, self._clock)

    def _presence(self, *, online: bool) -> Message:
        body = PartyState(online=online, simulated=self._wishes.simulated)
        return Message(COORDINATOR, COORDINATOR, 0, self._epoch, self._origin_us, body)

    def _new_head(self, start_us: int) -> Head:
        wishes = self._wishes
        origin_us = self._clock() if wishes.clock is not None else self._clock.base_us
        moment = datetime.fromtimestamp(start_us / 1e6, UTC)
        files = pin(wishes.sequence_path, wishes.loaded)
        if wishes.speed != 1.0:
            files += (PinnedFile.of(SPEED_FILE, f"{wishes.speed!r}\n"),)
        return Head(
            f"{moment:%Y%m%dT%H%M%S_%fZ}_{wishes.loaded.plan.name}",
            wishes.loaded.plan.digest,
            files,
            wishes.seed,
            origin_us,
            to_time(origin_us),
            wishes.simulated,
            # Above every number of earlier runs, which the parties' ledgers still know.
            first_command=origin_us // 1_000,
            program=program_version(),
            root=str(root_of(wishes.sequence_path).absolute()),
            sequence=wishes.loaded.files[0][0],
            joint="" if wishes.joint_path is None else wishes.loaded.files[-1][0],
            clock_base_us=self._clock.base_us,
            standings=wishes.stands.to_data(),
        )

    def _begin_run(self, store: RecordStore) -> Run:
        loaded = self._wishes.loaded
        run = Run(
            self._run,
            loaded.joint.name,
            loaded.plan.name,
            plan_digest=loaded.plan.digest,
            started=to_time(self._origin_us),
            simulated=not self._wishes.stands.is_all_real,
            tolerance=loaded.joint.tolerance,
            tools=calibrations_of(loaded),
            windows=self._wishes.windows,
        )
        if self._resumption is None:
            store.begin_run(run)
            return run
        # Judged on as it was begun.
        return next((one for one in store.runs() if one.run == self._run), run)

    def _banner(self) -> str:
        faster = f" at {self._wishes.speed:g} times life" if self._wishes.speed != 1.0 else ""
        return f"{self._wishes.stands.banner()}{faster}: {caps_words(self._plan.caps)}"

    def _now_us(self) -> int:
        """Return the time since the run began."""
        return self._clock() - self._origin_us


def _wants_automatic(call: PersonEvent) -> bool:
    match call:
        case ModeSet(mode=mode):
            return mode == Mode.AUTOMATIC
    return False
