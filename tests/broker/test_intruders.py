"""Somebody who has stolen the coordinator's own password, at an arm on a real, secured Mosquitto.

What the broker's rights keep out is in `test_secured_broker.py`; here nothing but the arm itself
stands between the intruder and steel.
"""

import asyncio
import contextlib
import gc
import json
import random
from collections import Counter
from collections.abc import AsyncIterator, Iterator, MutableMapping
from pathlib import Path
from random import Random
from typing import Any

import paho.mqtt.client as paho
import pytest
import structlog
from aiomqtt import Client, MqttError
from paho.mqtt.enums import CallbackAPIVersion

from coordinator.live.link import Dropped, read_delivery
from coordinator.wire.codec import BYTES_MAX, decode, encode
from coordinator.wire.messages import (
    Body,
    Do,
    Finished,
    FloorSignals,
    Lease,
    MakeReady,
    Message,
    PartyState,
    Ready,
    Refused,
    Release,
)
from coordinator.wire.topics import topic_of
from sim_arms.ledger import Ledger, MemoryStore
from sim_arms.node import Broker, run_party
from sim_arms.shell import Shell
from sim_arms.workbench import Settings
from tests.support.brokers import MOSQUITTO
from tests.support.nodes import clock_us
from tests.support.parties import SmallBench
from tests.support.secured_broker import Secured, secured

pytestmark = [
    pytest.mark.broker,
    pytest.mark.skipif(MOSQUITTO is None, reason="no Mosquitto"),
    # The MQTT library leaves the socket of a connection that was cut to the collector.
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]
CELL = "sill_point"
COMMANDS = f"bothsides/{CELL}/fore/command"
WAIT_S = 20.0
SHOTS = 100_000
SHOTS_AT_ONCE = 200
"""Chosen: fewer than the broker keeps for one arm, so that it drops none itself."""
COPIES = 50


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Secured]:
    """A broker of its own for every test."""
    with secured(tmp_path / "broker") as running:
        yield running
    gc.collect()


class Log:
    """Counts what the parties log, and lets a test wait for it."""

    def __init__(self) -> None:
        self.dropped: list[str] = []
        self._news = asyncio.Event()

    def __call__(
        self, logger: object, method: str, event: MutableMapping[str, Any]
    ) -> MutableMapping[str, Any]:
        """Count one entry, and print nothing."""
        if event["event"] == "dropped":
            self.dropped.append(str(event["error"]))
            self._news.set()
        raise structlog.DropEvent

    async def wait_dropped(self, count: int) -> None:
        """Return once so many messages were dropped."""
        async with asyncio.timeout(WAIT_S):
            while len(self.dropped) < count:
                self._news.clear()
                await self._news.wait()


@pytest.fixture
def log() -> Iterator[Log]:
    """Hear what is logged."""
    counting, before = Log(), structlog.get_config()["processors"]
    structlog.configure(processors=[counting])
    yield counting
    structlog.configure(processors=before)


class Desk:
    """Speaks with the coordinator's account, as the coordinator or as a thief does."""

    def __init__(self, client: Client) -> None:
        self.heard: list[Body] = []
        self._client = client
        self._sequence = 0
        self._news = asyncio.Event()

    async def listen(self) -> None:
        """Note what the arm reports."""
        async for packet in self._client.messages:
            assert isinstance(packet.payload, bytes)
            self.heard.append(decode(str(packet.topic), packet.payload).body)
            self._news.set()

    def message(self, body: Body, *, live_us: int | None = 60_000_000, epoch: int = 7) -> Message:
        """Return a message as the coordinator makes it."""
        self._sequence += 1
        subject = "all" if isinstance(body, Lease) else "fore"
        expires_us = None if live_us is None else clock_us() + live_us
        return Message("coordinator", subject, self._sequence, epoch, clock_us(), body, expires_us)

    async def say(self, message: Message) -> None:
        """Send it where it belongs."""
        await self._client.publish(topic_of(CELL, message), encode(message), qos=1)

    async def wait_reports(self, kind: type[Body], count: int) -> list[Body]:
        """Wait until so many reports of a kind were heard, and return them."""
        async with asyncio.timeout(WAIT_S):
            while len(found := [one for one in self.heard if isinstance(one, kind)]) < count:
                self._news.clear()
                await self._news.wait()
        return found


@contextlib.asynccontextmanager
async def desk_of(broker: Secured) -> AsyncIterator[Desk]:
    """Connect with the coordinator's password."""
    async with broker.client("coordinator") as client:
        desk = Desk(client)
        for channel in ("report", "state"):
            await client.subscribe(f"bothsides/{CELL}/fore/{channel}", qos=1)
        task = asyncio.create_task(desk.listen())
        try:
            yield desk
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)


@contextlib.asynccontextmanager
async def arm_on(broker: Secured, bench: SmallBench) -> AsyncIterator[None]:
    """Run an arm's shell with its own account."""
    known, stop = broker.address("fore"), asyncio.Event()
    shell = Shell(Settings("fore"), bench, Ledger(MemoryStore()), Random(1))
    at = Broker("127.0.0.1", broker.port, known.username, known.password, known.trust())
    task = asyncio.create_task(run_party(shell, CELL, at, clock_us, stop=stop))
    try:
        yield
    finally:
        stop.set()
        await asyncio.wait_for(task, WAIT_S)


@contextlib.contextmanager
def gun_of(broker: Secured) -> Iterator[paho.Client]:
    """Connect with the coordinator's password, to send as fast as the broker takes it."""
    known = broker.address("coordinator")
    gun = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
    gun.username_pw_set(known.username or "", known.password)
    gun.tls_set_context(known.trust())
    gun.connect("127.0.0.1", broker.port)
    gun.loop_start()
    try:
        yield gun
    finally:
        gun.disconnect()
        gun.loop_stop()


async def worked_once(desk: Desk) -> list[Message]:
    """Let the coordinator have one motion done, and return what it said."""
    said = [
        desk.message(Lease(clock_us() + 30_000_000)),
        desk.message(MakeReady(101)),
        desk.message(Do(102, "move bolt 1", "move")),
    ]
    await desk.wait_reports(PartyState, 1)  # It listens now.
    await desk.say(said[0])
    await desk.say(said[1])
    await desk.wait_reports(Ready, 1)
    await desk.say(said[2])
    await desk.wait_reports(Finished, 1)
    return said


async def worked_again(desk: Desk) -> None:
    """Let the coordinator have another motion done, however long ago the first was."""
    await desk.say(desk.message(Lease(clock_us() + 30_000_000)))
    await desk.say(desk.message(MakeReady(301)))
    await desk.wait_reports(Ready, 2)
    await desk.say(desk.message(Do(302, "still fit", "move")))
    await desk.wait_reports(Finished, 2)


def reasons_of(reports: list[Body]) -> Counter[str]:
    return Counter(one.reason for one in reports if isinstance(one, Refused))


def test_replayed_expired_retained_and_outdated_commands_are_refused_and_move_nothing(
    broker: Secured,
) -> None:
    """Each is a true message of the coordinator at a wrong time; the arm says why it refuses."""
    bench = SmallBench()

    async def attack() -> tuple[list[Body], int]:
        async with desk_of(broker) as desk:
            kept = desk.message(Do(100, "kept", "move"))
            async with broker.client("coordinator") as thief:
                await thief.publish(COMMANDS, encode(kept), qos=1, retain=True)
            async with arm_on(broker, bench):
                await desk.wait_reports(Refused, 1)
                said = await worked_once(desk)
                for _ in range(COPIES):
                    for message in said:
                        await desk.say(message)
                wrong = [
                    desk.message(Do(110, "late", "move"), live_us=-1),
                    desk.message(Do(111, "for ever", "move"), live_us=None),
                    desk.message(Do(112, "old", "move"), epoch=6),
                    desk.message(Do(99, "older number", "move")),
                    desk.message(Release(113, clock_us())),
                ]
                for message in wrong:
                    await desk.say(message)
                refused = await desk.wait_reports(Refused, 1 + 2 * COPIES + len(wrong))
                moved = bench.moved
                await desk.say(desk.message(Do(120, "still fit", "move")))
                await desk.wait_reports(Finished, 1 + COPIES + 1)
                return refused, moved

    refused, moved = asyncio.run(attack())

    assert moved == 1
    assert bench.moved == 2  # What is good is still done.
    assert reasons_of(refused) == {
        "retained": 1,
        "duplicate": COPIES,
        "outdated": COPIES + 2,
        "expired": 2,
        "unready": 1,
    }


@pytest.mark.timeout(600)
def test_a_hundred_thousand_malformed_messages_are_dropped_and_logged_one_by_one(
    broker: Secured, log: Log
) -> None:
    """The arm stays fit for work, nothing has moved, and the log counts every single try."""
    bench, dice = SmallBench(), random.Random(11)
    good = encode(Message("coordinator", "fore", 1, 7, clock_us(), Do(200, "x", "move"), 10**17))

    async def attack() -> int:
        async with desk_of(broker) as desk, arm_on(broker, bench):
            await worked_once(desk)
            with gun_of(broker) as gun:
                for fired in range(0, SHOTS, SHOTS_AT_ONCE):
                    for _ in range(SHOTS_AT_ONCE):
                        gun.publish(COMMANDS, spoiled(dice, good), qos=0)
                    await log.wait_dropped(fired + SHOTS_AT_ONCE)
            moved = bench.moved
            await worked_again(desk)
            return moved

    moved = asyncio.run(attack())

    assert (moved, bench.moved) == (1, 2)
    assert len(log.dropped) == SHOTS


def test_what_is_forged_or_oversized_is_dropped_and_moves_nothing(
    broker: Secured, log: Log
) -> None:
    """A true form is not enough: who speaks, of whom, and how much, must fit too."""
    bench = SmallBench()
    good = encode(Message("coordinator", "fore", 1, 7, clock_us(), Do(200, "x", "move"), 10**17))

    async def attack() -> int:
        async with desk_of(broker) as desk, arm_on(broker, bench):
            await worked_once(desk)
            async with broker.client("coordinator") as thief:
                for source in ("aft", "floor", "", "Coordinator"):
                    forged = json.loads(good) | {"source": source}
                    await thief.publish(COMMANDS, json.dumps(forged).encode(), qos=1)
                elsewhere = json.loads(good) | {"subject": "aft"}
                await thief.publish(COMMANDS, json.dumps(elsewhere).encode(), qos=1)
            with contextlib.suppress(MqttError):
                async with broker.client("coordinator") as thief:
                    await thief.publish(COMMANDS, b"x" * (2 * BYTES_MAX), qos=1)
            moved = bench.moved
            await worked_again(desk)
            return moved

    moved = asyncio.run(attack())

    assert (moved, bench.moved) == (1, 2)
    assert len(log.dropped) == 5  # What is too large, the broker itself keeps out.
    assert sum("[LNK014]" in one for one in log.dropped) == 4
    assert sum("another topic" in one for one in log.dropped) == 1


def test_signals_from_anybody_but_the_floor_free_no_arm() -> None:
    """WR5: A good signal said by somebody else must not let an arm move beneath a load."""
    bench = SmallBench()
    shell = Shell(
        Settings("fore", watched=("floor_clear",)), bench, Ledger(MemoryStore()), Random(1)
    )
    said = [
        Message("coordinator", "all", 1, 7, 0, Lease(10**9)),
        Message("aft", "floor", 1, 7, 0, FloorSignals({"floor_clear": True})),
        Message("coordinator", "fore", 2, 7, 0, MakeReady(1), 10**9),
        Message("coordinator", "fore", 3, 7, 0, Do(2, "x", "move"), 10**9),
    ]

    bodies = [answer.body for one in said for answer in shell.receive(one, 10)]

    assert reasons_of(bodies) == {"interlock": 1}
    assert bench.moved == 0


def test_a_hundred_thousand_malformed_messages_all_fall_at_the_border() -> None:
    """The coordinator's own border, without the broker's pace: not one gets in, each says why."""
    dice = random.Random(13)
    good = encode(Message("fore", "fore", 1, 7, 0, Finished(1)))
    topic = f"bothsides/{CELL}/fore/report"

    for _ in range(100_000):
        shot = spoiled(dice, good)
        taken = read_delivery(topic, shot, retained=False)
        assert isinstance(taken, Dropped), shot
        assert "[LNK00" in taken.reason


def spoiled(dice: random.Random, good: bytes) -> bytes:
    """Return bytes that are no message of the contract."""
    envelope = json.loads(good)
    match dice.randrange(6):
        case 0:
            return dice.randbytes(dice.randrange(1, 200))
        case 1:
            return good[: dice.randrange(1, len(good))]
        case 2:
            envelope["data"]["unknown"] = dice.random()
        case 3:
            del envelope[dice.choice(["source", "type", "data", "epoch", "time", "subject"])]
        case 4:
            envelope["data"]["command"] = dice.choice([None, "one", [1], {}, 1.5])
        case _:
            envelope["type"] = dice.choice(["", "org.bothsides.dance", None, 5, "org.bothsides."])
    return json.dumps(envelope).encode()
