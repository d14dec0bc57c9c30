"""One party as a node on a real MQTT 5 broker: commands, memory of the broker, cuts, leaving."""

import asyncio
import os
import signal
import subprocess
import sys
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from contextlib import asynccontextmanager
from pathlib import Path
from random import Random

import pytest
from aiomqtt import Client, ProtocolVersion

from coordinator.live.broker import EmbeddedBroker
from coordinator.wire.codec import decode, encode
from coordinator.wire.messages import (
    Accepted,
    Ask,
    AskState,
    Body,
    Do,
    Finished,
    Held,
    Lease,
    MakeReady,
    Message,
    PartyState,
    Ready,
    Refused,
    SimulatedFacts,
)
from coordinator.wire.topics import is_retained, quality_of, topic_of
from sim_arms.ledger import FileStore, Ledger, MemoryStore
from sim_arms.node import Broker, ledger_beside, run_party
from sim_arms.shell import Shell
from sim_arms.workbench import Settings
from tests.support.brokers import MOSQUITTO, Cable, free_port, mosquitto
from tests.support.parties import SECOND_US, SmallBench

WAIT_S = 10.0
CELL = "cell_of_nodes"
pytestmark = pytest.mark.broker


def clock_us() -> int:
    """The cell's clock."""
    return time.time_ns() // 1_000


@pytest.fixture(
    params=[
        "embedded",
        pytest.param(
            "mosquitto",
            marks=pytest.mark.skipif(MOSQUITTO is None, reason="Mosquitto is not installed"),
        ),
    ]
)
def port(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[int]:
    """A broker of its own for every test."""
    if request.param == "embedded":
        with EmbeddedBroker() as broker:
            yield broker.port
    else:
        with mosquitto(tmp_path) as port:
            yield port


class Desk:
    """Speaks to parties as a coordinator does, and hears what they say."""

    def __init__(self, client: Client) -> None:
        self.heard: list[Message] = []
        self._client = client
        self._sequence = 0
        self._news = asyncio.Event()

    async def say(
        self,
        body: Body,
        subject: str = "fore",
        *,
        retain: bool = False,
        ordinal: int | None = None,
    ) -> None:
        """Publish one body."""
        self._sequence += 1
        now_us = clock_us()
        expires_us = None if isinstance(body, SimulatedFacts) else now_us + 5 * SECOND_US
        message = Message(
            "coordinator", subject, self._sequence, 1, now_us, body, expires_us, ordinal
        )
        await self._client.publish(
            topic_of(CELL, message),
            encode(message),
            qos=quality_of(body),
            retain=retain or is_retained(body),
        )

    async def post(self, topic: str, payload: bytes) -> None:
        """Publish raw bytes."""
        await self._client.publish(topic, payload, qos=1)

    async def listen(self) -> None:
        """Keep what arrives."""
        async for packet in self._client.messages:
            assert isinstance(packet.payload, bytes)
            self.heard.append(decode(str(packet.topic), packet.payload))
            self._news.set()

    async def wait_heard(self, is_it: Callable[[Body], bool], after: int = 0) -> Body:
        """Return the first body from `after` on for which `is_it` holds."""
        async with asyncio.timeout(WAIT_S):
            while True:
                for message in self.heard[after:]:
                    if is_it(message.body):
                        return message.body
                self._news.clear()
                await self._news.wait()


@asynccontextmanager
async def desk_at(port: int) -> AsyncIterator[Desk]:
    """Sit down at the broker."""
    async with Client("127.0.0.1", port, protocol=ProtocolVersion.V5) as client:
        await client.subscribe(f"bothsides/{CELL}/fore/+", qos=1)
        desk = Desk(client)
        listening = asyncio.create_task(desk.listen())
        try:
            yield desk
        finally:
            listening.cancel()
            await asyncio.gather(listening, return_exceptions=True)


def small_party(bench: SmallBench | None = None, store: FileStore | None = None) -> Shell:
    """A party with small activities."""
    ledger = Ledger(MemoryStore() if store is None else store)
    return Shell(Settings("fore"), bench or SmallBench(), ledger, Random(1))


async def with_node(
    party: Shell, node_port: int, desk_port: int, scenario: Callable[[Desk], Awaitable[None]]
) -> None:
    """Run a scenario beside a node, and end the node after it."""
    stop = asyncio.Event()
    async with desk_at(desk_port) as desk:
        node = asyncio.create_task(
            run_party(party, CELL, Broker(port=node_port), clock_us, stop=stop)
        )
        try:
            await scenario(desk)
        finally:
            stop.set()
            await node


def is_online(body: Body) -> bool:
    """Tell whether a party says that it is there."""
    return isinstance(body, PartyState) and body.online


def test_a_node_ends_also_when_its_broker_dies_as_it_leaves(port: int) -> None:
    """Both end with their run; an error of the link must not swallow that the node was told to."""

    async def leave(turns: int) -> None:
        cable, stop = Cable(port), asyncio.Event()
        await cable.lay()
        async with desk_at(port) as desk:
            running = run_party(small_party(), CELL, Broker(port=cable.port), clock_us, stop=stop)
            node = asyncio.create_task(running)
            await desk.wait_heard(is_online)
            stop.set()
            await desk.wait_heard(lambda body: isinstance(body, PartyState) and not body.online)
            for _ in range(turns):
                await asyncio.sleep(0)
            cable.cut()
            done, _ = await asyncio.wait([node], timeout=WAIT_S)
            assert done, f"cut after {turns} turns of the loop"
        await cable.remove()

    for turns in range(20):
        asyncio.run(leave(turns))


def test_a_node_obeys_over_the_broker_and_leaves_with_a_word(port: int) -> None:
    """The whole of a command, over real sockets; a clean leave is told at once, not by the will."""
    party = small_party()

    async def scenario(desk: Desk) -> None:
        await desk.wait_heard(is_online)
        await desk.say(Lease(clock_us() + 20 * SECOND_US), "all")
        await desk.say(MakeReady(1))
        await desk.wait_heard(lambda body: body == Ready(1))
        await desk.say(Do(2, "step", "move"))
        await desk.wait_heard(lambda body: body == Accepted(2))
        assert await desk.wait_heard(lambda body: isinstance(body, Finished)) == Finished(
            2, {"way": 1.0}
        )

    async def whole() -> None:
        await with_node(party, port, port, scenario)
        async with desk_at(port) as late:
            state = await late.wait_heard(lambda body: isinstance(body, PartyState))
            assert isinstance(state, PartyState)
            assert not state.online

    asyncio.run(whole())


def test_a_command_kept_by_the_broker_is_refused_and_rubbish_is_dropped(port: int) -> None:
    """WR9 and WR3: the retain flag reaches the party; what does not fit gets no further."""
    bench = SmallBench()

    async def whole() -> None:
        async with desk_at(port) as early:
            await early.say(Do(1, "step", "move"), retain=True)
        await with_node(small_party(bench), port, port, scenario)

    async def scenario(desk: Desk) -> None:
        refused = await desk.wait_heard(lambda body: isinstance(body, Refused))
        assert isinstance(refused, Refused)
        assert refused.reason == "retained"
        await desk.post(f"bothsides/{CELL}/all/lease", b"{not json")
        wrong = Message("coordinator", "aft", 1, 1, clock_us(), MakeReady(), clock_us() + SECOND_US)
        await desk.post(f"bothsides/{CELL}/all/lease", encode(wrong))
        await desk.say(Lease(clock_us() + 20 * SECOND_US), "all")
        await desk.say(MakeReady(2))
        await desk.wait_heard(lambda body: body == Ready(2))

    asyncio.run(whole())
    assert bench.moved == 0


def test_a_cut_node_holds_by_itself_reconnects_and_reports_what_happened_meanwhile(
    port: int,
) -> None:
    """L2 over a real cable; reports wait in order until the link is back."""
    party = small_party()

    async def whole() -> None:
        cable = Cable(port)
        await cable.lay()

        async def scenario(desk: Desk) -> None:
            await desk.wait_heard(is_online)
            await desk.say(Lease(clock_us() + 2 * SECOND_US), "all")
            await desk.say(MakeReady(1))
            await desk.say(Do(2, "step", "long"))
            await desk.wait_heard(lambda body: body == Accepted(2))
            cable.cut()
            gone = await desk.wait_heard(
                lambda body: isinstance(body, PartyState) and not body.online
            )
            assert isinstance(gone, PartyState)
            before = len(desk.heard)
            async with asyncio.timeout(WAIT_S):
                while party.state != "held":  # The lease lapses in real time, behind the cut.
                    await asyncio.sleep(0.02)
            cable.mend()
            await desk.wait_heard(is_online, before)
            held = await desk.wait_heard(lambda body: isinstance(body, Held), before)
            assert held == Held("no fresh lease")
            kinds = [type(message.body).__name__ for message in desk.heard[before:]]
            assert kinds.index("Interrupted") < kinds.index("Held")

        try:
            await with_node(party, cable.port, port, scenario)
        finally:
            await cable.remove()

    asyncio.run(whole())


def test_a_node_waits_for_a_broker_that_is_not_there_yet(tmp_path: Path) -> None:
    """A party may be started before the bus."""
    if MOSQUITTO is None:
        pytest.skip("Mosquitto is not installed")

    async def whole() -> None:
        stop = asyncio.Event()
        port = free_port()
        node = asyncio.create_task(
            run_party(small_party(), CELL, Broker(port=port), clock_us, stop=stop)
        )
        done, _ = await asyncio.wait({node}, timeout=0.5)
        assert not done
        stop.set()
        await asyncio.wait_for(node, 5.0)

    asyncio.run(whole())


_PROGRAM = """
import asyncio, sys
from pathlib import Path
from sim_arms.node import Broker, ledger_beside, run_party
from tests.broker.test_node import CELL, clock_us, small_party
party = small_party(store=ledger_beside(Path(sys.argv[2]), CELL, "fore"))
asyncio.run(run_party(party, CELL, Broker(port=int(sys.argv[1])), clock_us))
"""


def test_a_killed_process_knows_after_its_restart_what_it_was_doing(
    port: int, tmp_path: Path
) -> None:
    """A4 with a real process and a real disk; SIGTERM ends it in good order."""

    def start() -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            [sys.executable, "-c", _PROGRAM, str(port), str(tmp_path / "ledgers")],
            cwd=Path(__file__).parents[2],
            env={**os.environ, "PYTHONPATH": "."},
            stdout=subprocess.DEVNULL,
        )

    async def whole() -> None:
        process = start()
        try:
            async with desk_at(port) as desk:
                await desk.wait_heard(is_online)
                await desk.say(Lease(clock_us() + 20 * SECOND_US), "all")
                await desk.say(MakeReady(1))
                await desk.say(Do(2, "step", "long"))
                await desk.wait_heard(lambda body: body == Accepted(2))
                process.kill()
                process.wait()
                await desk.wait_heard(lambda b: isinstance(b, PartyState) and not b.online)
                before = len(desk.heard)
                process = start()
                state = await desk.wait_heard(is_online, before)
                assert isinstance(state, PartyState)
                assert (state.state, state.last_command, state.last_outcome) == (
                    "held",
                    2,
                    "interrupted",
                )
                process.send_signal(signal.SIGTERM)
                assert await asyncio.to_thread(process.wait, 5) == 0
        finally:
            process.kill()
            process.wait()

    asyncio.run(whole())
    kept = ledger_beside(tmp_path / "ledgers", CELL, "fore").load()
    assert [type(message.body).__name__ for message in kept] == ["Interrupted"]


def test_a_node_that_misses_a_message_says_so_at_once_and_says_how_it_stands_when_asked(
    port: int,
) -> None:
    """Gap, then snapshot again, on the arm's side; its own words are numbered without a hole."""

    async def scenario(desk: Desk) -> None:
        await desk.wait_heard(is_online)
        await desk.say(MakeReady(1), ordinal=1)
        await desk.wait_heard(lambda body: body == Ready(1))
        await desk.say(Ask(77), ordinal=4)
        missed = await desk.wait_heard(
            lambda body: isinstance(body, PartyState) and body.missed > 0
        )
        assert isinstance(missed, PartyState)
        assert (missed.missed, missed.state) == (2, "idle")
        place = len(desk.heard)
        for ordinal in (5, 6, 7):
            await desk.say(AskState(), ordinal=ordinal)
        for _ in range(3):
            await desk.wait_heard(is_online, place)
            place += 1
        # By the party's own clock; three heartbeats would be as many seconds apart.
        assert desk.heard[place - 1].sent_us - desk.heard[place - 3].sent_us < SECOND_US
        said = [one for one in desk.heard if one.source == "fore"]
        numbers = [one.ordinal for one in said if one.ordinal is not None]
        assert numbers == list(range(numbers[0], numbers[0] + len(numbers)))
        assert not [one for one in said if one.ordinal is None and is_online(one.body)]

    asyncio.run(with_node(small_party(), port, port, scenario))
