"""Three ways to be a bus, behind one face: in memory, the embedded broker, Mosquitto."""

import asyncio
from collections.abc import Awaitable, Callable, Sequence

from aiomqtt import Client, ProtocolVersion

from coordinator.live.link import Delivery, Link, Presence
from coordinator.live.mqtt_link import Address, MqttLink
from tests.support.brokers import Cable
from tests.support.memory_bus import MemoryBus, MemoryLink

WAIT_S = 8.0


class BusInMemory:
    """The bus in memory."""

    def __init__(self, cell: str) -> None:
        self.cell = cell
        self._bus = MemoryBus()
        self._links: dict[str, MemoryLink] = {}

    async def link(
        self, name: str, subscriptions: Sequence[str], presence: Presence | None = None
    ) -> Link:
        link = self._bus.link(self.cell, subscriptions, presence)
        self._links[name] = link
        return link

    async def post(self, topic: str, payload: bytes) -> None:
        self._bus.post(topic, payload)

    def cut(self, name: str) -> None:
        self._links[name].sever()

    def mend(self, name: str) -> None:
        self._links[name].mend()

    async def remove(self) -> None:
        """Nothing is left behind in memory."""


class BusOnBroker:
    """A broker, with a cable of its own for every link."""

    def __init__(self, cell: str, port: int) -> None:
        self.cell = cell
        self._port = port
        self._cables: dict[str, Cable] = {}

    async def link(
        self, name: str, subscriptions: Sequence[str], presence: Presence | None = None
    ) -> Link:
        cable = Cable(self._port)
        await cable.lay()
        self._cables[name] = cable
        identifier = f"{self.cell}-{name}"
        return MqttLink(Address(port=cable.port), self.cell, subscriptions, identifier, presence)

    async def post(self, topic: str, payload: bytes) -> None:
        async with Client("127.0.0.1", self._port, protocol=ProtocolVersion.V5) as client:
            await client.publish(topic, payload, qos=1)

    def cut(self, name: str) -> None:
        self._cables[name].cut()

    def mend(self, name: str) -> None:
        self._cables[name].mend()

    async def remove(self) -> None:
        for cable in self._cables.values():
            await cable.remove()


Bus = BusInMemory | BusOnBroker


async def collect(link: Link, until: Callable[[list[Delivery]], bool]) -> list[Delivery]:
    """Return what a link delivers until `until` says enough; fail if that never comes."""
    deliveries: list[Delivery] = []

    async def gather() -> None:
        while not until(deliveries):
            deliveries.extend(await link.wait_delivered())

    try:
        await asyncio.wait_for(gather(), WAIT_S)
    except TimeoutError:
        raise AssertionError(f"not enough within {WAIT_S} s: {deliveries}") from None
    return deliveries


def run_on(bus: Bus, scenario: Callable[[Bus], Awaitable[None]]) -> None:
    """Run a scenario in an event loop of its own and remove the bus after it."""

    async def whole() -> None:
        try:
            await scenario(bus)
        finally:
            await bus.remove()

    asyncio.run(whole())
