"""Let the page hear what arrives on a link, without standing in its way."""

from collections.abc import Callable, Sequence

from coordinator.live.link import Delivered, Delivery, Link
from coordinator.wire.messages import Message


class TappedLink:
    """A link that tells a listener of every message before it hands it on."""

    def __init__(self, link: Link, hear: Callable[[Message], None]) -> None:
        self._link = link
        self._hear = hear

    async def open(self) -> None:
        """Open the link."""
        await self._link.open()

    async def close(self) -> None:
        """Close the link."""
        await self._link.close()

    async def publish(self, messages: Sequence[Message]) -> None:
        """Send messages in order."""
        await self._link.publish(messages)

    async def wait_delivered(self) -> tuple[Delivery, ...]:
        """Wait for deliveries and tell the listener of them."""
        deliveries = await self._link.wait_delivered()
        for delivery in deliveries:
            if isinstance(delivery, Delivered) and not delivery.retained:
                self._hear(delivery.message)
        return deliveries
