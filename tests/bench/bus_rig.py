"""A cell on a bus for benchmarks: coordinator, arms and floor each a process, the real runtime.

Arms are real shells of the contract on a bench that moves nothing; they note the moments at which
something reaches or leaves them. All processes of one machine share the monotonic clock.

Units: ``*_s`` seconds; ``*_us`` microseconds of the cell's clock.
"""

import asyncio
import contextlib
import json
import os
import signal
import time
from collections.abc import Callable, Coroutine, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Any

from coordinator.core.events import Act as Deed
from coordinator.core.events import Event
from coordinator.core.plan import (
    Barrier,
    Interlock,
    InterlockKind,
    Move,
    Node,
    NodeKind,
    Option,
    Plan,
    Signal,
)
from coordinator.core.plan import Party as PlanParty
from coordinator.core.prompts import BUILT_IN, UNKNOWN_OUTCOME
from coordinator.core.state import State
from coordinator.live.coordinator import Coordinator, Observers
from coordinator.live.link import Delivered, Delivery, Link
from coordinator.live.mqtt_link import Address, MqttLink
from coordinator.live.operator import OperatorScript
from coordinator.live.runtime import Runtime
from coordinator.records.journal import Head, Journal
from coordinator.sequence import Act, Answer
from coordinator.wire.messages import (
    Do,
    Finished,
    FloorSignals,
    Hold,
    Message,
    PartyState,
    Started,
    Value,
)
from coordinator.wire.topics import subscriptions_of_coordinator
from sim_arms.activity import Activity, Done, HoldAsked, Wait
from sim_arms.ledger import Ledger, MemoryStore
from sim_arms.node import Broker, run_party
from sim_arms.party import SimulatedParty
from sim_arms.shell import Shell
from sim_arms.workbench import Settings
from tests.support.kill_everything import fork
from tests.support.nodes import clock_us
from tests.support.parties import SmallBench

CELL = "bench"
SIDES = ("fore", "aft")
CLEAR = "clear"
SIGNALS_US = 200_000
"""How often the floor says how it stands."""
LOOK_US = 300_000
"""How long the script's person looks before each deed."""
HOLDS_MAX = 500
"""How often that person lets a run go on."""


Note = tuple[float, str, int]
"""When by the monotonic clock, what, and its number."""


@dataclass(frozen=True, slots=True)
class Stamp:
    """A moment inside the coordinator's process, by the monotonic clock."""

    at_s: float
    what: str
    """`heard` of a report, `sent` of a command, `sync` of the journal."""
    party: str = ""
    command: int = 0
    for_s: float = 0.0


class StampedJournal:
    """The product's journal, with the time that each commit takes."""

    def __init__(self, journal: Journal, stamps: list[Stamp]) -> None:
        self._journal = journal
        self._stamps = stamps

    def append(self, event: Event) -> None:
        """Take an event in."""
        self._journal.append(event)

    def commit(self, state: State) -> None:
        """Make it durable."""
        begin_s = time.monotonic()
        self._journal.commit(state)
        self._stamps.append(Stamp(begin_s, "sync", for_s=time.monotonic() - begin_s))


class StampedLink:
    """The product's link, with the moments at which the coordinator hears and speaks."""

    def __init__(self, link: Link, stamps: list[Stamp]) -> None:
        self._link = link
        self._stamps = stamps

    async def open(self) -> None:
        """Connect."""
        await self._link.open()

    async def close(self) -> None:
        """Leave."""
        await self._link.close()

    async def publish(self, messages: Sequence[Message]) -> None:
        """Send."""
        now_s = time.monotonic()
        for one in messages:
            if isinstance(one.body, Do):
                self._stamps.append(Stamp(now_s, "sent", one.subject, one.body.command))
        await self._link.publish(messages)

    async def wait_delivered(self) -> tuple[Delivery, ...]:
        """Wait."""
        deliveries = await self._link.wait_delivered()
        now_s = time.monotonic()
        for one in deliveries:
            if isinstance(one, Delivered) and isinstance(one.message.body, Finished):
                command = one.message.body.command
                self._stamps.append(Stamp(now_s, "heard", one.message.source, command))
        return deliveries


@dataclass(frozen=True, slots=True)
class Work:
    """What the arms do in each of their steps."""

    step_s: float
    telemetry_hz: float = 0.0
    """How often an arm tells what its tool feels; 0 for never."""


def rig_plan(rounds: int) -> Plan:
    """Return two lanes that take two steps each and meet, so many times."""
    nodes: list[Node] = []
    lanes: list[tuple[int, ...]] = []
    size = 3 * rounds
    for lane in range(2):
        members = range(lane * size, (lane + 1) * size)
        for place, index in enumerate(members):
            after = (index - 1,) if place else ()
            name, which = f"round {place // 3}", place % 3
            if which < 2:
                work = Move("work", timeout_us=600_000_000)
                nodes.append(Node(f"{name} step {which}", lane, NodeKind.STEP, after, move=work))
            else:
                nodes.append(Node(name, lane, NodeKind.BARRIER, after, barrier=place // 3))
        lanes.append(tuple(members))
    barriers = tuple(
        Barrier(
            f"round {one}",
            (0, 1),
            (3 * one + 2, size + 3 * one + 2),
            (-1, -1) if one == rounds - 1 else (3 * one + 3, size + 3 * one + 3),
        )
        for one in range(rounds)
    )
    return Plan(
        name="bench",
        parties=tuple(PlanParty(name) for name in SIDES),
        nodes=tuple(nodes),
        lanes=tuple(lanes),
        barriers=barriers,
        interlocks=(Interlock("nobody_inside", 0, InterlockKind.TRIP, "somebody is inside"),),
        signals=(Signal(CLEAR, 2_000_000),),
        digest="b" * 64,
    )


class RigBench(SmallBench):
    """Lets time pass, and feels torque while it does."""

    def __init__(self, work: Work) -> None:
        super().__init__()
        self._work = work

    def begin(self, action: str, parameters: Mapping[str, Value], on_hold: str) -> Activity:
        """Work, whatever the action is called."""
        return self._do_work()

    def tell_time(self, now_us: int) -> None:
        """Keep no list of the moments, which would grow for an hour."""

    def _do_work(self) -> Activity:
        work = self._work
        try:
            if not work.telemetry_hz:
                yield Wait(work.step_s)
            for count in range(round(work.step_s * work.telemetry_hz)):
                torque_nm = 10.0 * count / work.telemetry_hz
                yield Wait(1.0 / work.telemetry_hz, torque_nm=torque_nm)
        except HoldAsked as hold:
            hold.evidence = {}
            raise
        return Done()


class RigFloor:
    """Says that nobody is inside, and now and then that somebody is."""

    name = "floor"
    answers_to = ("floor",)

    def __init__(self, note: Callable[[str, int], None], clear_us: int, occupied_us: int) -> None:
        self._note = note
        self._clear_us = clear_us
        self._occupied_us = occupied_us
        self._is_clear = True
        self._turn_us = 0
        self._due_us = 0
        self._sequence = 0

    def receive(self, message: Message, now_us: int, retained: bool = False) -> list[Message]:
        """Obey nobody."""
        return []

    def advance(self, now_us: int) -> list[Message]:
        """Say how the floor stands, at each change and in between."""
        if self._occupied_us and now_us >= self._turn_us:
            if self._turn_us:
                self._is_clear = not self._is_clear
                self._note("clear" if self._is_clear else "occupied", 0)
            self._turn_us = now_us + (self._clear_us if self._is_clear else self._occupied_us)
        elif now_us < self._due_us:
            return []
        self._due_us = now_us + SIGNALS_US
        return [self._say(now_us)]

    def next_us(self) -> int:
        """Return when it says something next."""
        return min(self._due_us, self._turn_us) if self._occupied_us else self._due_us

    def connected(self, now_us: int) -> list[Message]:
        """Say how the floor stands."""
        return [self._say(now_us)]

    def will(self) -> Message:
        """Be gone."""
        return self._message(PartyState(online=False), 0)

    def farewell(self, now_us: int) -> Message:
        """Be gone."""
        return self.will()

    def _say(self, now_us: int) -> Message:
        return self._message(FloorSignals({CLEAR: self._is_clear}), now_us)

    def _message(self, body: FloorSignals | PartyState, now_us: int) -> Message:
        self._sequence += 1
        return Message("floor", "floor", self._sequence, 0, now_us, body)


class NotingShell(Shell):
    """A shell that notes when commands reach it and when it has done them."""

    note: Callable[[str, int], None]

    def receive(self, message: Message, now_us: int, retained: bool = False) -> list[Message]:
        """Note what came, then obey."""
        match message.body:
            case Do(command) if message.body.barrier is None:
                self.note("do", command)
            case Do(command):
                self.note("arm", command)
            case Hold():
                self.note("hold", 0)
        return self._noted(super().receive(message, now_us, retained))

    def advance(self, now_us: int) -> list[Message]:
        """Note what is done by now."""
        return self._noted(super().advance(now_us))

    def _noted(self, messages: list[Message]) -> list[Message]:
        for message in messages:
            match message.body:
                case Finished(command):
                    self.note("finished", command)
                case Started(_, started_us):
                    self.note("started", started_us)
        return messages


def noting(path: Path) -> Callable[[str, int], None]:
    """Return what writes (moment, what, number) down as lines."""
    notes = path.open("w", buffering=1, encoding="utf-8")
    return lambda what, number: print(json.dumps((time.monotonic(), what, number)), file=notes)


def notes_of(path: Path) -> list[Note]:
    """Return what was noted, in the order of time."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return [(float(at_s), str(what), int(one)) for at_s, what, one in map(json.loads, lines)]


@contextlib.contextmanager
def parties(
    folder: Path, port: int, work: Work, *, clear_s: float = 0.0, occupied_s: float = 0.0
) -> Iterator[dict[str, int]]:
    """Run both arms and the floor, each as a process of its own; yields their numbers."""

    def be(name: str) -> None:
        note = noting(folder / f"{name}.notes")
        party: Any
        if name == "floor":
            party = RigFloor(note, int(clear_s * 1e6), int(occupied_s * 1e6))
        else:
            settings = Settings(name, latency_us_max=0)
            party = NotingShell(settings, RigBench(work), Ledger(MemoryStore()), Random(1))
            party.note = note
        ours: SimulatedParty = party
        asyncio.run(run_party(ours, CELL, Broker(port=port), clock_us))

    numbers = {
        name: fork(lambda name=name: be(name), folder / f"{name}.log")  # type: ignore[misc]  # each name is bound as it is now
        for name in (*SIDES, "floor")
    }
    try:
        yield numbers
    finally:
        for number in numbers.values():
            with contextlib.suppress(ProcessLookupError):
                os.kill(number, signal.SIGKILL)
            os.waitpid(number, 0)


async def coordinate(
    folder: Path,
    port: int,
    rounds: int,
    *,
    kind: type[Coordinator] = Coordinator,
    beside: Callable[[Coordinator], Coroutine[Any, Any, None]] | None = None,
    length_s: float | None = None,
    stamps: list[Stamp] | None = None,
) -> Coordinator:
    """Run the plan with the product's own runtime, link and journal.

    Args:
        folder: Gets the journal.
        port: Where the broker listens.
        rounds: How often the arms meet.
        kind: What is made the coordinator.
        beside: What runs beside it in the same loop, until the end.
        length_s: When it is held and left; None to run it to its end.
        stamps: Gets the moments inside the coordinator, unless it is None.
    """
    plan = rig_plan(rounds)
    journal = Journal.create(folder / "journal.log", Head("bench", plan.digest))
    log = journal if stamps is None else StampedJournal(journal, stamps)
    coordinator = kind(plan, epoch=1, origin_us=clock_us(), observers=Observers(journal=log))
    deeds = [
        Act(deed, "bench", when="held", after_us=LOOK_US)
        for _ in range(HOLDS_MAX)
        for deed in (Deed.RESET, Deed.RESTART)
    ]
    # A hold that meets a released start leaves a doubt, which only a person may settle.
    answers = [
        Answer(BUILT_IN[UNKNOWN_OUTCOME], Option.AGAIN, "bench") for _ in range(2 * HOLDS_MAX)
    ]
    script = OperatorScript(plan, answers, deeds, starts=True)
    link: Link = MqttLink(
        Address(port=port), CELL, subscriptions_of_coordinator(CELL), "bench-ours"
    )
    link = link if stamps is None else StampedLink(link, stamps)
    task = None if beside is None else asyncio.create_task(beside(coordinator))
    runtime = Runtime(coordinator, link, clock_us, script=script)
    if length_s is not None:
        asyncio.get_running_loop().call_later(length_s, runtime.interrupt)
    try:
        outcome = await runtime.run()
    finally:
        if task is not None:
            task.cancel()
        journal.close()
    wanted = "complete" if length_s is None else "held"
    if outcome.phase != wanted:
        raise RuntimeError(f"the run ended {outcome.phase} ({outcome.reason}), must be {wanted}")
    return coordinator
