"""The runtime on a bus in memory: a whole run, an interrupt, a failing journal, a lost link."""

import asyncio
import signal
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from coordinator.core.events import Act, Event, OperatorActed
from coordinator.core.plan import Plan, Timing
from coordinator.core.state import State
from coordinator.live.coordinator import Coordinator, Observers, OutdatedCoordinator
from coordinator.live.link import Delivered, Delivery
from coordinator.live.operator import OperatorScript
from coordinator.live.runtime import Outcome, Runtime
from coordinator.records.journal import Head, Journal, JournalFailed
from coordinator.records.replaying import replay
from coordinator.wire.codec import encode
from coordinator.wire.messages import Do, Hold, Message, PartyState
from coordinator.wire.topics import subscriptions_of_coordinator, subscriptions_of_party, topic_of
from tests.support.memory_bus import MemoryBus
from tests.support.nodes import clock_us, run_node
from tests.support.obedient import ObedientParty
from tests.support.small_plan import small_plan

CELL = "cell"
QUICK = Timing(lead_us=20_000, hold_us=300_000)
WAIT_S = 10.0


class Scene:
    """A bus in memory with two arms and a coordinator's runtime."""

    def __init__(self, *, work_us: int = 5_000, observers: Observers | None = None) -> None:
        self.bus = MemoryBus()
        self.plan: Plan = replace(small_plan(), timing=QUICK)
        self.arms = [ObedientParty(name, work_us=work_us) for name in ("fore", "aft")]
        self.coordinator = Coordinator(
            self.plan, epoch=2, origin_us=clock_us(), observers=observers
        )
        self.link = self.bus.link(CELL, subscriptions_of_coordinator(CELL))
        self.script: OperatorScript | None = OperatorScript(self.plan)
        self.interactive = False

    def runtime(self) -> Runtime:
        return Runtime(
            self.coordinator,
            self.link,
            clock_us,
            script=self.script,
            interactive=self.interactive,
        )

    def play(self, scenario: Callable[[Runtime], Awaitable[Outcome]]) -> Outcome:
        async def whole() -> Outcome:
            nodes = [
                asyncio.create_task(
                    run_node(arm, self.bus.link(CELL, subscriptions_of_party(CELL, arm.name)))
                )
                for arm in self.arms
            ]
            try:
                return await asyncio.wait_for(scenario(self.runtime()), WAIT_S)
            finally:
                for node in nodes:
                    node.cancel()
                await asyncio.gather(*nodes, return_exceptions=True)

        return asyncio.run(whole())


async def plainly(runtime: Runtime) -> Outcome:
    return await runtime.run()


def test_a_run_in_real_time_ends_complete_and_its_journal_replays(tmp_path: Path) -> None:
    """Live and replay share one core, so the journal must lead to the same state."""
    head = Head("run_1", "d" * 64)
    journal = Journal.create(tmp_path / "journal.log", head)
    scene = Scene(observers=Observers(journal))

    outcome = scene.play(plainly)
    journal.close()

    again = Journal.open(tmp_path / "journal.log")
    assert outcome == Outcome("complete", scene.coordinator.state.reason)
    assert again.verify() is None
    assert replay(scene.plan, again).state == scene.coordinator.state
    again.close()


def test_an_interrupt_holds_every_arm_and_ends_held() -> None:
    """Ctrl-C must leave arms that stand, not arms that nobody speaks to."""

    def listen(event: Event, effects: object, state: object) -> None:
        if type(event).__name__ == "CommandAccepted" and not interrupted:
            interrupted.append(True)
            signal.raise_signal(signal.SIGINT)

    interrupted: list[bool] = []
    scene = Scene(work_us=5_000_000, observers=Observers(listeners=(listen,)))

    outcome = scene.play(plainly)

    assert outcome == Outcome("held", "held by interrupt")
    assert all(any(isinstance(one, Hold) for one in arm.obeyed) for arm in scene.arms)


def test_an_interrupt_before_the_start_leaves_at_once() -> None:
    """Nothing moves yet, so there is nothing to wait for."""
    scene = Scene()
    scene.script = None

    async def scenario(runtime: Runtime) -> Outcome:
        runtime.interrupt()
        return await runtime.run()

    assert scene.play(scenario) == Outcome("held", "interrupted")


def test_held_with_nobody_to_answer_is_the_end() -> None:
    """An unattended run must not wait for a person who is not there."""
    runtimes: list[Runtime] = []
    told: list[str] = []

    def listen(event: Event, effects: object, state: object) -> None:
        told.append(type(event).__name__)
        if told.count("PartySeen") == 2 and told[-1] == "PartySeen":
            runtimes[0].submit(OperatorActed(0, Act.START, "person"))
        if told[-1] == "CommandAccepted":
            runtimes[0].submit(OperatorActed(0, Act.HOLD, "person"))

    scene = Scene(work_us=5_000_000, observers=Observers(listeners=(listen,)))
    scene.script = None

    async def scenario(runtime: Runtime) -> Outcome:
        runtimes.append(runtime)
        return await runtime.run()

    assert scene.play(scenario) == Outcome("held", "held by person")


def test_a_hold_is_taken_before_a_thousand_other_calls() -> None:
    """P8: no queue delays it, whatever else people and pages have asked before."""
    runtimes: list[Runtime] = []
    acted: list[Act] = []

    def listen(event: Event, effects: object, state: object) -> None:
        if type(event).__name__ == "CommandAccepted" and not acted:
            acted.append(Act.START)
            for act in (*[Act.RESET] * 1000, Act.HOLD):
                runtimes[0].submit(OperatorActed(0, act, "person"))
        elif isinstance(event, OperatorActed) and acted:
            acted.append(event.act)

    scene = Scene(work_us=5_000_000, observers=Observers(listeners=(listen,)))

    async def scenario(runtime: Runtime) -> Outcome:
        runtimes.append(runtime)
        return await runtime.run()

    assert scene.play(scenario) == Outcome("held", "held by person")
    assert acted == [Act.START, Act.HOLD, *[Act.RESET] * 1000]


def test_a_journal_that_fails_holds_the_arms_and_ends_the_run() -> None:
    """J1: what cannot be made durable must not be done."""

    class FullDisk:
        def append(self, event: Event) -> None:
            """Take it in."""

        def commit(self, state: State) -> None:
            raise JournalFailed("the disk is full [JNL001]")

    scene = Scene(observers=Observers(FullDisk()))
    witness = scene.bus.link(CELL, (f"bothsides/{CELL}/+/command",))

    async def scenario(runtime: Runtime) -> Outcome:
        await witness.open()
        return await runtime.run()

    with pytest.raises(JournalFailed, match="JNL001"):
        scene.play(scenario)
    heard = [one for one in asyncio.run(witness.wait_delivered()) if isinstance(one, Delivered)]
    assert [(one.message.subject, one.message.body) for one in heard] == [
        ("fore", Hold("JournalFailed")),
        ("aft", Hold("JournalFailed")),
    ]


def test_another_coordinator_of_a_later_epoch_ends_the_run_without_a_word() -> None:
    """A7: the cell is the other's now, and our hold would disturb it."""
    scene = Scene()
    scene.script = None
    later = Message("coordinator", "coordinator", 1, 9, 0, PartyState(True))

    async def scenario(runtime: Runtime) -> Outcome:
        running = asyncio.ensure_future(runtime.run())
        while not scene.bus.has(scene.link):
            await asyncio.wait({running}, timeout=0.001)
        scene.bus.post(topic_of(CELL, later), encode(later))
        return await running

    with pytest.raises(OutdatedCoordinator, match="LNK008"):
        scene.play(scenario)
    assert [one for arm in scene.arms for one in arm.obeyed] == []


def test_a_link_that_breaks_and_comes_back_ends_held_not_forgotten() -> None:
    """The core holds for what it cannot hear, and insists once it can speak again."""
    scene = Scene(work_us=5_000_000)
    told: list[str] = []

    def listen(event: Event, effects: object, state: object) -> None:
        told.append(type(event).__name__)
        is_first = told.count("CommandAccepted") == 1 and "PartyLost" not in told
        if is_first and scene.bus.has(scene.link):
            scene.link.sever()
        if told.count("PartyLost") == 2 and told[-1] == "PartyLost":
            asyncio.get_running_loop().call_soon(scene.link.mend)

    scene.coordinator = Coordinator(
        scene.plan, epoch=2, origin_us=clock_us(), observers=Observers(listeners=(listen,))
    )

    outcome = scene.play(plainly)

    assert outcome.phase == "held"
    assert told.count("PartyLost") == 2


class LateLink:
    """A link on which every message leaves at once, and its acknowledgement never comes."""

    def __init__(self, scene: Scene, *, fails: bool = False) -> None:
        self._link = scene.link
        self._fails = fails
        self.ended = asyncio.Event()

    async def open(self) -> None:
        await self._link.open()

    async def close(self) -> None:
        await self._link.close()

    async def wait_delivered(self) -> tuple[Delivery, ...]:
        return await self._link.wait_delivered()

    async def publish(self, messages: Sequence[Message]) -> None:
        await self._link.publish(messages)
        if self._fails and any(isinstance(one.body, Do) for one in messages):
            self._fails = False
            raise RuntimeError("a mistake of ours")
        await self.ended.wait()


def test_no_decision_waits_for_the_broker_to_say_that_it_has_the_last_one() -> None:
    """Its acknowledgement proves nothing, and the other arm would wait for it too."""
    scene = Scene()
    link = LateLink(scene)

    def listen(event: Event, effects: object, state: State) -> None:
        if state.phase == "complete":
            link.ended.set()

    scene.coordinator.observe(Observers(listeners=(listen,)))
    scene.link = link  # type: ignore[assignment]  # all of a link that a runtime asks for

    assert scene.play(plainly).phase == "complete"


def test_a_mistake_while_sending_holds_every_arm_and_is_raised() -> None:
    """H7 also for what is sent in the background: nobody may miss that it went wrong."""
    scene = Scene(work_us=5_000_000)
    link = LateLink(scene, fails=True)
    link.ended.set()
    scene.link = link  # type: ignore[assignment]  # all of a link that a runtime asks for

    witness = scene.bus.link(CELL, (f"bothsides/{CELL}/+/command",))

    async def scenario(runtime: Runtime) -> Outcome:
        await witness.open()
        return await runtime.run()

    with pytest.raises(RuntimeError, match="a mistake of ours"):
        scene.play(scenario)

    heard = [one for one in asyncio.run(witness.wait_delivered()) if isinstance(one, Delivered)]
    held = [one.message.subject for one in heard if isinstance(one.message.body, Hold)]
    assert held == ["fore", "aft"]
