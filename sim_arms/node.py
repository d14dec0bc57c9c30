"""Run one simulated party as a process on an MQTT 5 broker, for as long as it is wanted.

The party keeps time by itself, with or without a link: it holds when its lease lapses. What it has
to report waits, in order, until the link is back.

Units: ``*_s`` seconds; ``*_us`` whole microseconds of the cell's clock.
Invariants: WR3, a message that does not fit the contract is told and dropped; A4, a command is done
at most once, also over restarts of its party.
Source: OASIS, MQTT Version 5.0, 2019: 3.1.2.4 clean start, 3.3.1.3 retain, 3.1.2.5 will.
"""

import asyncio
import contextlib
import signal
import socket
import ssl
import sys
from collections import deque
from collections.abc import AsyncIterator, Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import structlog
from aiomqtt import Client, MqttError, ProtocolVersion, Will
from aiomqtt import Message as Packet

from coordinator.wire.codec import RemoteProtocolError, decode, encode
from coordinator.wire.messages import Message, PartyState
from coordinator.wire.ordinals import Gaps
from coordinator.wire.topics import (
    ROOT,
    is_retained,
    quality_of,
    subscriptions_of_party,
    topic_of,
)
from sim_arms.admission import forgery
from sim_arms.ledger import FileStore
from sim_arms.party import SimulatedParty

BACKOFF_S = (0.2, 5.0)
"""First and longest pause between two tries to connect."""
ANSWER_S = 2.0
KEEP_ALIVE_S = 5
WAITING_MAX = 10_000
"""Reports that wait for the link (chosen: hours of work); the oldest make room."""
LATE_S_MAX = 0.5
"""The party is looked at this often at least, should its next time be far."""
REFUSED = 128
"""Reason codes from here on are errors (MQTT 5.0, 2.4)."""

Orders = Callable[[str, int], tuple[list[Message], str]]
"""Takes a line and the time; returns what is to be sent and what to tell the person."""

_log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Broker:
    """Where the broker is, and who we are to it."""

    host: str = "127.0.0.1"
    port: int = 1883
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: ssl.SSLContext | None = field(default=None, repr=False)


async def run_party(
    party: SimulatedParty,
    cell: str,
    broker: Broker,
    clock_us: Callable[[], int],
    *,
    stop: asyncio.Event | None = None,
    orders: Orders | None = None,
    speed: float = 1.0,
) -> None:
    """Run a party until SIGTERM, SIGINT or `stop`; reconnect for ever until then.

    Args:
        party: Arm or floor.
        cell: Second level of every topic.
        broker: The broker.
        clock_us: The cell's clock, microseconds since the Unix epoch.
        stop: Ends the party from inside the same process; signals are then left alone.
        orders: Obeys the lines of standard input, a terminal or a pipe; None to leave it alone.
        speed: How much faster than the wall the cell's clock runs.
    """
    node = _Node(party, cell, broker, clock_us, speed)
    handles_signals = stop is None
    ending = asyncio.Event() if stop is None else stop
    loop = asyncio.get_running_loop()
    if handles_signals:
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(number, ending.set)
    work = [node.keep_time(), node.keep_link()]
    if orders is not None:
        work.append(node.read_orders(orders))
    try:
        async with asyncio.TaskGroup() as group:
            tasks = [group.create_task(coroutine) for coroutine in work]
            await ending.wait()
            await node.leave()
            for task in tasks:
                task.cancel()
    finally:
        if handles_signals:
            for number in (signal.SIGTERM, signal.SIGINT):
                loop.remove_signal_handler(number)


def ledger_beside(folder: Path, cell: str, name: str) -> FileStore:
    """Open the ledger that a party of this cell keeps in a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    return FileStore(folder / f"{cell}_{name}.ledger.sqlite")


class _Node:
    """One party between its clock and its broker."""

    def __init__(
        self,
        party: SimulatedParty,
        cell: str,
        broker: Broker,
        clock_us: Callable[[], int],
        speed: float,
    ) -> None:
        self._party = party
        self._speed = speed
        self._cell = cell
        self._broker = broker
        self._clock_us = clock_us
        self._own = {party.name, *party.answers_to}
        self._waiting: deque[Message] = deque(maxlen=WAITING_MAX)
        self._to_send = asyncio.Event()
        self._sent = asyncio.Event()
        self._changed = asyncio.Event()
        self._is_linked = False
        self._is_leaving = False
        """The loops look here too: in Python 3.11 `asyncio.wait_for`, which the client uses, may
        lose a cancellation that comes at the moment of its result."""
        self._gaps = Gaps()
        self._log = _log.bind(party=party.name, cell=cell)

    def say(self, messages: Sequence[Message]) -> None:
        """Queue messages; while there is no link only what must not be lost."""
        for message in messages:
            if self._is_linked or self._is_kept(message):
                self._waiting.append(message)
        if messages:
            self._to_send.set()
        self._changed.set()

    async def keep_time(self) -> None:
        """Advance the party whenever something is due."""
        while not self._is_leaving:
            self._changed.clear()
            now_us = self._clock_us()
            self.say(self._party.advance(now_us))
            next_us = self._party.next_us()
            wait_s = LATE_S_MAX
            if next_us is not None:
                wait_s = (next_us - self._clock_us()) / 1e6 / self._speed
            self._changed.clear()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(min(max(wait_s, 0.0), LATE_S_MAX)):
                    await self._changed.wait()

    async def keep_link(self) -> None:
        """Connect, serve, and connect again when the link breaks."""
        pause_s, longest_s = BACKOFF_S
        while not self._is_leaving:
            try:
                async with self._connected() as client:
                    pause_s = BACKOFF_S[0]
                    await self._serve(client)
            except (MqttError, OSError) as error:
                self._log.warning("link_lost", error=str(error), again_in_s=pause_s)
            await asyncio.sleep(pause_s)
            pause_s = min(2.0 * pause_s, longest_s)

    async def read_orders(self, orders: Orders) -> None:
        """Obey the lines of standard input until it ends."""
        loop = asyncio.get_running_loop()
        reader = asyncio.StreamReader()
        await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
        while line := await reader.readline():
            messages, answer = orders(line.decode(errors="replace"), self._clock_us())
            self.say(messages)
            print(answer, file=sys.stderr, flush=True)

    async def leave(self) -> None:
        """Say that the party goes, and give the link a moment to carry it."""
        if self._is_linked:
            self.say([self._party.farewell(self._clock_us())])
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(ANSWER_S):
                    while self._waiting and self._is_linked:
                        self._sent.clear()
                        await self._sent.wait()
        self._is_leaving = True

    @contextlib.asynccontextmanager
    async def _connected(self) -> AsyncIterator[Client]:
        """Connect and subscribe; a link without its subscriptions is none."""
        will = self._party.will()
        # The client itself would block a thread on a broker that does not answer.
        try:
            async with asyncio.timeout(ANSWER_S):
                _, writer = await asyncio.open_connection(self._broker.host, self._broker.port)
        except TimeoutError:
            raise MqttError("no answer in time") from None
        writer.close()
        client = Client(
            self._broker.host,
            self._broker.port,
            username=self._broker.username,
            password=self._broker.password,
            tls_context=self._broker.tls,
            identifier=f"{ROOT}-{self._cell}-{self._party.name}",
            protocol=ProtocolVersion.V5,
            clean_start=True,
            keepalive=KEEP_ALIVE_S,
            timeout=ANSWER_S,
            will=Will(topic_of(self._cell, will), encode(will), quality_of(will.body), retain=True),
            # Nagle's algorithm would hold small messages back for up to 40 ms.
            socket_options=[(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)],
        )
        try:
            await client.__aenter__()
            granted = await client.subscribe([(topic, 1) for topic in self._topics()])
            if any((c if isinstance(c, int) else c.value) >= REFUSED for c in granted):
                raise MqttError("the broker refuses a subscription")
            yield client
        finally:
            # Also after a failed entry, which would leave its socket open and watched.
            with contextlib.suppress(MqttError):
                await client.__aexit__(None, None, None)

    def _topics(self) -> list[str]:
        topics = {
            topic: None
            for subject in self._party.answers_to
            for topic in subscriptions_of_party(self._cell, subject)
        }
        return [*topics, f"{ROOT}/{self._cell}/+/simulated"]

    async def _serve(self, client: Client) -> None:
        self._is_linked = True
        self.say(self._party.connected(self._clock_us()))
        self._log.info("linked", host=self._broker.host, port=self._broker.port)
        serving = [
            asyncio.create_task(self._send(client)),
            asyncio.create_task(self._listen(client)),
        ]
        # Not a task group: it would swallow a cancellation of ours that meets an error of theirs.
        try:
            done, _ = await asyncio.wait(serving, return_when=asyncio.FIRST_COMPLETED)
        finally:
            self._is_linked = False
            self._sent.set()
            for task in serving:
                task.cancel()
            await asyncio.gather(*serving, return_exceptions=True)
        for task in done:
            task.result()

    async def _send(self, client: Client) -> None:
        """Publish in order; a message leaves the queue once the broker has it."""
        while self._is_linked:
            while self._waiting and self._is_linked:
                message = self._waiting[0]
                await client.publish(
                    topic_of(self._cell, message),
                    encode(message),
                    qos=quality_of(message.body),
                    retain=is_retained(message.body),
                )
                # The queue may have dropped it meanwhile to make room.
                if self._waiting and self._waiting[0] is message:
                    self._waiting.popleft()
                self._sent.set()
            self._to_send.clear()
            if not self._waiting and self._is_linked:
                await self._to_send.wait()

    async def _listen(self, client: Client) -> None:
        async for packet in client.messages:
            self._take(packet)

    def _take(self, packet: Packet) -> None:
        topic = str(packet.topic)
        payload = packet.payload if isinstance(packet.payload, bytes) else b""
        if not payload:
            return  # Somebody cleared a retained message.
        try:
            message = decode(topic, payload)
        except RemoteProtocolError as error:
            self._log.warning("dropped", error=str(error))
            return
        if topic_of(self._cell, message) != topic:
            self._log.warning("dropped", error=f"MQTT {topic}: a message of another topic")
        elif (why := forgery(message)) is not None:
            self._log.warning("dropped", error=f"MQTT {topic}: {why}")
        elif message.source not in self._own:
            if not packet.retain and (missing := self._gaps.take(message)):
                self._log.warning("missed", source=message.source, messages=missing, topic=topic)
            self.say(self._party.receive(message, self._clock_us(), retained=packet.retain))

    @staticmethod
    def _is_kept(message: Message) -> bool:
        return quality_of(message.body) > 0 and not isinstance(message.body, PartyState)
