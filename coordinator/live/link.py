"""What a link to the bus is, and the one in memory; `mqtt_link.py` has the one that is real.

Units: ``*_us`` microseconds of the cell's clock, ``*_s`` seconds.
Invariants: LV1, messages of one sender arrive in the order sent; LV2, a broken link is told once,
before anything that comes after it; WR3, a message that does not fit the contract is told and
dropped.
"""

import asyncio
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

from coordinator.wire.codec import RemoteProtocolError, decode, encode
from coordinator.wire.messages import Message
from coordinator.wire.topics import is_retained, topic_of

INBOX_MAX = 10_000
"""Chosen: minutes of telemetry; a coordinator that far behind has lost the cell anyway."""


class LinkUnreachable(Exception):  # noqa: N818 (it says what happened)
    """No broker could be reached at the first attempt. Code LNK005."""


class LinkLost(Exception):  # noqa: N818 (it says what happened)
    """The link broke; it is being mended in the background. Code LNK006."""


@dataclass(frozen=True, slots=True)
class Delivered:
    """A message arrived; `retained` when it comes from the broker's memory."""

    message: Message
    retained: bool = False


@dataclass(frozen=True, slots=True)
class Dropped:
    """Something arrived that the contract does not allow."""

    reason: str


@dataclass(frozen=True, slots=True)
class Broken:
    """The link broke."""

    reason: str


@dataclass(frozen=True, slots=True)
class Restored:
    """The link works again and everything is subscribed anew."""


Delivery = Delivered | Dropped | Broken | Restored


class Link(Protocol):
    """A way to the bus, for one party."""

    async def open(self) -> None:
        """Connect, subscribe, and say that we are there.

        Raises:
            LinkUnreachable: LNK005, nobody answers.
        """

    async def close(self) -> None:
        """Leave in good order; the last will is not sent."""

    async def publish(self, messages: Sequence[Message]) -> None:
        """Send messages in order.

        Raises:
            LinkLost: LNK006, at least one of them may not have left.
        """

    async def wait_delivered(self) -> tuple[Delivery, ...]:
        """Wait for at least one delivery and return all that are there."""


@dataclass(frozen=True, slots=True)
class Presence:
    """What a party tells about itself: `birth` at every connect, `will` when it is lost."""

    birth: Message | None = None
    will: Message | None = None


class Inbox:
    """The bounded queue of deliveries of one link."""

    def __init__(self) -> None:
        self._queue: asyncio.Queue[Delivery] = asyncio.Queue()
        self._full = False

    def put(self, delivery: Delivery) -> None:
        """Take a delivery in; beyond the bound it is dropped, and that is told once."""
        if self._queue.qsize() < INBOX_MAX or isinstance(delivery, Broken | Restored):
            self._queue.put_nowait(delivery)
        elif not self._full:
            self._full = True
            self._queue.put_nowait(Dropped(f"more than {INBOX_MAX} messages wait"))

    def put_raw(self, topic: str, payload: bytes, retained: bool) -> None:
        """Read a message at the border and take it in."""
        self.put(read_delivery(topic, payload, retained))

    async def wait(self) -> tuple[Delivery, ...]:
        """Wait for at least one delivery and return all that are there."""
        deliveries = [await self._queue.get()]
        while not self._queue.empty():
            deliveries.append(self._queue.get_nowait())
        self._full = False
        return tuple(deliveries)


def read_delivery(topic: str, payload: bytes, retained: bool) -> Delivery:
    """Decode a payload, and see that it travels on the topic that it belongs to."""
    try:
        message = decode(topic, payload)
    except RemoteProtocolError as error:
        return Dropped(str(error))
    levels = topic.split("/")
    if len(levels) != 4 or topic != topic_of(levels[1], message):
        return Dropped(f"MQTT {topic}: a message about '{message.subject}'; dropped [LNK009]")
    return Delivered(message, retained)


def matches(pattern: str, topic: str) -> bool:
    """Tell whether a topic fits a subscription with `+` for one level."""
    wanted, given = pattern.split("/"), topic.split("/")
    return len(wanted) == len(given) and all(
        want in ("+", level) for want, level in zip(wanted, given, strict=True)
    )


class MemoryBus:
    """A bus inside one process, with the same promises as a broker."""

    def __init__(self) -> None:
        self.is_up = True
        self._links: list[MemoryLink] = []
        self._kept: dict[str, bytes] = {}

    def link(
        self, cell: str, subscriptions: Iterable[str], presence: Presence | None = None
    ) -> "MemoryLink":
        """Return a link of one party; it is opened by the party."""
        return MemoryLink(self, cell, tuple(subscriptions), presence or Presence())

    def post(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Spread a payload to everybody who listens."""
        if retain:
            self._kept[topic] = payload
        for link in list(self._links):
            link.take(topic, payload, retained=False)

    def join(self, link: "MemoryLink") -> None:
        """Connect a link and give it what is kept.

        Raises:
            LinkUnreachable: LNK005, the bus is down.
        """
        if not self.is_up:
            raise LinkUnreachable("no bus in memory is up; start it first [LNK005]")
        self._links.append(link)
        for topic, payload in self._kept.items():
            link.take(topic, payload, retained=True)

    def leave(self, link: "MemoryLink") -> None:
        """Disconnect a link; nothing happens if it is not connected."""
        self._links = [other for other in self._links if other is not link]

    def has(self, link: "MemoryLink") -> bool:
        """Tell whether a link is connected."""
        return any(other is link for other in self._links)


class MemoryLink:
    """A `Link` on a `MemoryBus`."""

    def __init__(
        self, bus: MemoryBus, cell: str, subscriptions: tuple[str, ...], presence: Presence
    ) -> None:
        self._bus = bus
        self._cell = cell
        self._subscriptions = subscriptions
        self._presence = presence
        self._inbox = Inbox()

    async def open(self) -> None:
        """Connect; see `Link`."""
        self._bus.join(self)
        self._greet()

    async def close(self) -> None:
        """Leave; see `Link`."""
        self._bus.leave(self)

    async def publish(self, messages: Sequence[Message]) -> None:
        """Send; see `Link`."""
        if not self._bus.has(self):
            raise LinkLost("the bus in memory is not connected [LNK006]")
        for message in messages:
            self._post(message)

    async def wait_delivered(self) -> tuple[Delivery, ...]:
        """Wait; see `Link`."""
        return await self._inbox.wait()

    def take(self, topic: str, payload: bytes, *, retained: bool) -> None:
        """Let the bus deliver something."""
        if any(matches(pattern, topic) for pattern in self._subscriptions):
            self._inbox.put_raw(topic, payload, retained)

    def sever(self) -> None:
        """Cut this link as a broken cable would: the others get its will."""
        self._bus.leave(self)
        self._inbox.put(Broken("the cable is cut"))
        if self._presence.will is not None:
            self._post(self._presence.will)

    def mend(self) -> None:
        """Put the cable back."""
        self._bus.join(self)
        self._greet()
        self._inbox.put(Restored())

    def _greet(self) -> None:
        if self._presence.birth is not None:
            self._post(self._presence.birth)

    def _post(self, message: Message) -> None:
        retain = is_retained(message.body)
        self._bus.post(topic_of(self._cell, message), encode(message), retain=retain)
