"""A bus inside one process, with the same promises as a broker, for tests."""

from collections.abc import Iterable, Sequence

from coordinator.live.link import (
    Broken,
    Delivery,
    Inbox,
    LinkLost,
    LinkUnreachable,
    Presence,
    Restored,
)
from coordinator.wire.codec import encode
from coordinator.wire.messages import Message
from coordinator.wire.topics import is_retained, topic_of


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
        self._inbox = Inbox(rate=1e9)

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
