"""What a link to the bus is; `mqtt_link.py` has the one to a broker.

Units: ``*_us`` microseconds of the cell's clock, ``*_s`` seconds.
Invariants: LV1, messages of one sender arrive in the order sent; LV2, a broken link is told once,
before anything that comes after it; WR3, a message that does not fit the contract is told and
dropped; WR11, a flood of one sender is bounded and told, and leaves all others alone.
"""

import asyncio
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from coordinator.wire.codec import RemoteProtocolError, decode
from coordinator.wire.messages import Message
from coordinator.wire.topics import speaker_of, topic_of

INBOX_MAX = 10_000
"""Chosen: minutes of telemetry; a coordinator that far behind has lost the cell anyway."""
RATE_MAX = 2_000
"""Messages a second of one party; chosen: 20 times what an arm tells while it pulls."""
BURST_S = 2.0
"""Chosen: what has piled up while a link was down is no flood."""
SENDERS_MAX = 256
"""Chosen: far more names than a cell has parties."""


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
    """The bounded queue of deliveries of one link; each sender has a bound of its own.

    Args:
        rate: Messages a second of one sender; more than ever come where nobody strange can send.
        now_s: A monotonic clock.
    """

    def __init__(self, rate: float = RATE_MAX, now_s: Callable[[], float] = time.monotonic) -> None:
        self._rate = rate
        self._queue: asyncio.Queue[Delivery] = asyncio.Queue()
        self._full = False
        self._now_s = now_s
        self._spent: dict[str, tuple[float, float]] = {}
        """About whom a topic is -> messages still let through, and when that was counted."""
        self._flooding: set[str] = set()

    def put(self, delivery: Delivery) -> None:
        """Take a delivery in; beyond the bound it is dropped, and that is told once."""
        if self._queue.qsize() < INBOX_MAX or isinstance(delivery, Broken | Restored):
            self._queue.put_nowait(delivery)
        elif not self._full:
            self._full = True
            self._queue.put_nowait(Dropped(f"more than {INBOX_MAX} messages wait"))

    def put_raw(self, topic: str, payload: bytes, retained: bool) -> None:
        """Read a message at the border and take it in; what floods is dropped unread (WR11)."""
        # By the topic: the broker has seen to it that nobody else writes there.
        about = topic.rpartition("/")[0]
        if self._is_flooding(about):
            if about not in self._flooding:
                self._flooding.add(about)
                text = f"MQTT {about}: more than {self._rate:g} messages a second; dropped [LNK001]"
                self.put(Dropped(text))
            return
        self._flooding.discard(about)
        self.put(read_delivery(topic, payload, retained))

    def _is_flooding(self, about: str) -> bool:
        now_s = self._now_s()
        left, before_s = self._spent.get(about, (self._rate * BURST_S, now_s))
        left = min(left + (now_s - before_s) * self._rate, self._rate * BURST_S)
        if about not in self._spent and len(self._spent) >= SENDERS_MAX:
            return True  # Far more names than parties: made up.
        self._spent[about] = max(left - 1.0, 0.0), now_s
        return left < 1.0

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
    # A broker's rules bind an account to topics, never to what a payload says of its sender.
    sender = speaker_of(message)
    if levels[3] != "simulated" and message.source != sender:
        return Dropped(f"MQTT {topic}: speaks for another than '{sender}'; dropped [LNK009]")
    return Delivered(message, retained)
