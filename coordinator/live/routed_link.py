"""Join two buses: the simulated parties of a run on one, the real cell on the other.

Every command goes to the simulated parties, so that their world stays whole; to the real bus goes
only what is for a party that stands real. What the coordinator hears of a party comes from one bus
alone.

Units: ``*_us`` microseconds of the cell's clock.
Invariants: LV8, nothing is ever published for a party that is simulated or in shadow on the real
bus; LV9, a party that stands real and calls itself simulated is not heard.
"""

import asyncio
import contextlib
from collections.abc import Callable, Sequence

from coordinator.live.link import Broken, Delivered, Delivery, Dropped, Link, Restored
from coordinator.live.shadow import Comparison
from coordinator.live.standing import Standing, Standings
from coordinator.wire.messages import Message, PartyState
from coordinator.wire.topics import COORDINATOR, EVERYBODY

Waiting = asyncio.Task[tuple[Delivery, ...]]


class RoutedLink:
    """One link to the coordinator, two buses behind it.

    Args:
        ours: Where the simulated parties are; None if there are none.
        theirs: The real cell.
        standings: Decides who is heard and commanded where.
        comparison: Told what was predicted and what was seen.
        clock_us: The cell's clock.
    """

    def __init__(
        self,
        ours: Link | None,
        theirs: Link,
        standings: Standings,
        comparison: Comparison,
        clock_us: Callable[[], int],
    ) -> None:
        self._ours = ours
        self._theirs = theirs
        self._standings = standings
        self._comparison = comparison
        self._clock_us = clock_us
        self._waiting: dict[str, Waiting] = {}
        self._refused: list[str] = []
        """Parties that were told of once already."""

    async def open(self) -> None:
        """Open both; neither stays open if one cannot be reached.

        Raises:
            LinkUnreachable: LNK005.
        """
        await self._theirs.open()
        if self._ours is not None:
            try:
                await self._ours.open()
            except BaseException:
                await self._theirs.close()
                raise

    async def close(self) -> None:
        """Close both."""
        for task in self._waiting.values():
            task.cancel()
        await asyncio.gather(*self._waiting.values(), return_exceptions=True)
        try:
            await self._theirs.close()
        finally:
            if self._ours is not None:
                await self._ours.close()

    async def publish(self, messages: Sequence[Message]) -> None:
        """Send in order, to the real cell first: nobody waits for a simulation.

        Raises:
            LinkLost: LNK006.
        """
        real = [one for one in messages if self._is_for_real(one)]
        try:
            if real:
                await self._theirs.publish(real)
        finally:
            if self._ours is not None:
                await self._ours.publish(messages)

    async def wait_delivered(self) -> tuple[Delivery, ...]:
        """Wait for something that the coordinator is to hear."""
        while True:
            links = {"theirs": self._theirs} | ({"ours": self._ours} if self._ours else {})
            for name, link in links.items():
                if name not in self._waiting:
                    self._waiting[name] = asyncio.create_task(link.wait_delivered())
            await asyncio.wait(self._waiting.values(), return_when=asyncio.FIRST_COMPLETED)
            passed: list[Delivery] = []
            for name in list(self._waiting):
                if self._waiting[name].done():
                    deliveries = self._waiting.pop(name).result()
                    take = self._take_theirs if name == "theirs" else self._take_ours
                    passed += [one for it in deliveries if (one := take(it)) is not None]
            if passed:
                return tuple(passed)

    def _is_for_real(self, message: Message) -> bool:
        if message.subject in (EVERYBODY, COORDINATOR):
            return self._standings.has_real  # The lease; and that we are there, or leave.
        return self._standings.stands(message.subject) is Standing.REAL

    def _take_ours(self, delivery: Delivery) -> Delivery | None:
        if not isinstance(delivery, Delivered):
            return delivery
        message = delivery.message
        if not delivery.retained:
            self._comparison.predicted(message, self._clock_us())
        return None if self._standings.stands(message.source) is Standing.REAL else delivery

    def _take_theirs(self, delivery: Delivery) -> Delivery | None:
        match delivery:
            case Delivered(message, retained):
                return self._hear(delivery, message, retained)
            case Broken(reason) if not self._standings.has_real:
                return Dropped(f"live inputs: {reason}")
            case Restored() if not self._standings.has_real:
                return Dropped("live inputs: the link works again")
            case Dropped() if not self._standings.has_real:
                return None  # Somebody else's bus: what does not fit there is not ours to tell.
        return delivery

    def _hear(self, delivery: Delivered, message: Message, retained: bool) -> Delivery | None:
        if message.source == COORDINATOR:
            return delivery if self._standings.has_real else None
        standing, body = self._standings.stands(message.source), message.body
        if standing is Standing.SIMULATED:
            return None
        if not retained:
            self._comparison.seen(message, self._clock_us())
        if standing is Standing.SHADOW:
            return None
        if isinstance(body, PartyState) and body.online and body.simulated:
            if message.source in self._refused:
                return None
            self._refused.append(message.source)
            return Dropped(f"'{message.source}' calls itself simulated, must be real: not heard")
        with contextlib.suppress(ValueError):
            if isinstance(body, PartyState):
                self._refused.remove(message.source)
        return None if message.source in self._refused else delivery
