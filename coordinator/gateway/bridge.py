"""Read every controller in turn and publish the floor's signals on the bus, as the floor does.

Units: ``*_s`` seconds; ``*_us`` whole microseconds of the cell's clock.
Invariants: GW2, no value outlives the link it came over, nor the time in which it must be read
anew; GW3, a gateway repeats every signal at its period and tells a change at once; GW4, a gateway
that leaves or is lost leaves every signal unknown.
"""

import asyncio
import contextlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from coordinator.gateway.desk import Desk, Told
from coordinator.gateway.source import Source, SourceLost
from coordinator.live.link import Broken, Link, LinkLost, LinkUnreachable, Presence, Restored
from coordinator.sequence.models.cell_model import CellModel
from coordinator.sequence.models.gateway_model import GatewayModel
from coordinator.wire.messages import FloorSignals, Message
from coordinator.wire.ordinals import Ordinals
from coordinator.wire.topics import FLOOR

BACKOFF_S = (0.2, 0.5, 1.0, 2.0)
"""Chosen: soon at first, for a short blink; the last one again and again."""
OPEN_S_MAX = 5.0
"""Chosen: longer than any controller takes to let us in."""
LOOK_S = 0.05
"""Chosen: how often it is looked whether something has grown too old."""
OVERVIEW_S = 3.0
"""Chosen: long enough to connect and to see a beating value change."""

WORDS = {True: "yes", False: "no", None: "unknown"}

Tell = Callable[[str], None]
Show = Callable[[Mapping[str, Told]], None]


class Bridge:
    """Between the controllers of one cell and its bus."""

    def __init__(
        self,
        cell: CellModel,
        gateway: GatewayModel,
        sources: Mapping[str, Source],
        clock_us: Callable[[], int],
        *,
        tell: Tell,
        show: Show,
    ) -> None:
        """Know everybody; nothing is connected yet.

        Args:
            cell: Whose signals they are.
            gateway: Where they come from.
            sources: Each source of the gateway by its name.
            clock_us: The cell's clock.
            tell: Takes a line for people when a signal or a controller changes.
            show: Takes everything as it is read, once that is known or had its time to be.
        """
        self._gateway = gateway
        self._sources = sources
        self._clock_us = clock_us
        self._tell = tell
        self._show = show
        self._desk = Desk(gateway)
        self._names = tuple(cell.signals)
        self._period_us = min((one.period for one in cell.signals.values()), default=500_000)
        self._sequence = 0
        self._ordinals = Ordinals()
        self._due_us = 0
        self._told: dict[str, Told] = {}
        self._changed = asyncio.Event()

    async def run(self, link: Link, stop: asyncio.Event) -> None:
        """Publish until told to stop; controllers and bus are tried again and again till then."""
        work = [self._keep(name) for name in self._sources]
        work += [self._overview(), self._serve(link)]
        tasks = [asyncio.create_task(one) for one in work]
        stopping = asyncio.create_task(stop.wait())
        try:
            # None of them ends but by a mistake of ours, which must show.
            done, _ = await asyncio.wait([*tasks, stopping], return_when=asyncio.FIRST_COMPLETED)
            for task in done:
                task.result()
        finally:
            await _end((*tasks, stopping))
            with contextlib.suppress(LinkLost):
                await link.publish([self._message(dict.fromkeys(self._names))])
            await link.close()

    async def look(self, for_s: float = OVERVIEW_S) -> dict[str, Told]:
        """Read every controller until every signal is known, or for a while; with no bus.

        Returns:
            Every signal as it is read then.
        """
        tasks = [asyncio.create_task(self._keep(name)) for name in self._sources]
        try:
            known = asyncio.create_task(self._wait_known())
            tasks.append(known)
            done, _ = await asyncio.wait(tasks, timeout=for_s, return_when=asyncio.FIRST_COMPLETED)
            for task in done:
                task.result()
            return self._desk.signals(self._clock_us())
        finally:
            await _end(tasks)

    def presence(self) -> Presence:
        """Return what the broker says for us once we are lost: nothing is known any more."""
        # Without an ordinal: it is said, if ever, after others that are yet to come.
        return Presence(will=replace(self._message(dict.fromkeys(self._names)), ordinal=None))

    async def _keep(self, name: str) -> None:
        """Read one controller for ever."""
        source, model = self._sources[name], self._gateway.sources[name]
        tries = 0
        while True:
            try:
                async with asyncio.timeout(OPEN_S_MAX):
                    await source.open(self._desk.places_of(name))
                is_told = False
                while True:
                    asked_us = self._clock_us()
                    async with asyncio.timeout(model.timeout / 1e6):
                        readings = await source.read()
                    if not is_told:
                        self._tell(f"{name}: read")
                        is_told, tries = True, 0
                    self._desk.take(name, readings, asked_us)
                    self._changed.set()
                    left_us = asked_us + model.every - self._clock_us()
                    await asyncio.sleep(max(left_us, 0) / 1e6)
            except (SourceLost, TimeoutError) as error:
                why = str(error) or "no answer in time"
                self._desk.lose(name, why)
                self._changed.set()
                if tries == 0:
                    self._tell(f"{name}: lost: {why}; tries go on")
            finally:
                await source.close()
            await asyncio.sleep(BACKOFF_S[min(tries, len(BACKOFF_S) - 1)])
            tries += 1

    async def _overview(self) -> None:
        """Show everything once, when it is known or has had its time; then stay."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(OVERVIEW_S):
                await self._wait_known()
        self._show(self._desk.signals(self._clock_us()))
        await asyncio.Event().wait()

    async def _wait_known(self) -> None:
        while any(one.value is None for one in self._desk.signals(self._clock_us()).values()):
            await asyncio.sleep(LOOK_S)

    async def _serve(self, link: Link) -> None:
        """Reach the bus, then publish for ever."""
        tries = 0
        while True:
            try:
                await link.open()
                break
            except LinkUnreachable as error:
                if tries == 0:
                    self._tell(f"bus: {error}; tries go on")
                await asyncio.sleep(BACKOFF_S[min(tries, len(BACKOFF_S) - 1)])
                tries += 1
        self._tell("bus: connected")
        async with asyncio.TaskGroup() as group:
            group.create_task(self._publish(link))
            group.create_task(self._listen(link))

    async def _publish(self, link: Link) -> None:
        """Tell every change at once, and everything at its period."""
        while True:
            self._changed.clear()
            now_us = self._clock_us()
            told = self._desk.signals(now_us)
            self._say(told)
            values = {name: one.value for name, one in told.items()}
            is_new = values != {name: one.value for name, one in self._told.items()}
            self._told = told
            if is_new or now_us >= self._due_us:
                self._due_us = now_us + self._period_us
                with contextlib.suppress(LinkLost):
                    await link.publish([self._message(values)])
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(LOOK_S):
                    await self._changed.wait()

    async def _listen(self, link: Link) -> None:
        """Tell what the link says of itself; there is nobody whom we obey."""
        while True:
            for one in await link.wait_delivered():
                if isinstance(one, Broken):
                    self._tell(f"bus: lost: {one.reason}; tries go on")
                elif isinstance(one, Restored):
                    self._tell("bus: connected again")
                    self._due_us = 0  # Our last will has said that nothing is known.
                    self._changed.set()

    def _say(self, told: Mapping[str, Told]) -> None:
        for name, one in told.items():
            before = self._told.get(name)
            if before is None or before.value is not one.value:
                why = f" ({one.why})" if one.why else ""
                self._tell(f"{name}: {WORDS[one.value]}{why}")

    def _message(self, signals: Mapping[str, bool | None]) -> Message:
        self._sequence += 1
        body = FloorSignals(signals)
        ordinal = self._ordinals.next(FLOOR, body)
        now_us = self._clock_us()
        return Message(FLOOR, FLOOR, self._sequence, 0, now_us, body, ordinal=ordinal)


async def _end(tasks: Sequence[asyncio.Task[Any]]) -> None:
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
