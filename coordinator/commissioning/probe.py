"""Speak to one party as its coordinator would, or as none ever should, and note what it says.

Units: ``*_us`` whole microseconds of the cell's clock; ``*_s`` seconds.
"""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from coordinator.live.link import Delivered, Link
from coordinator.wire.messages import (
    Body,
    Do,
    Finished,
    FloorSignals,
    Held,
    Hold,
    Lease,
    MakeReady,
    Message,
    PartyState,
    Ready,
    Value,
)
from coordinator.wire.ordinals import Ordinals
from coordinator.wire.topics import COORDINATOR, EVERYBODY

ANSWER_S = 1.5
"""Chosen: an answer that takes longer is none; the coordinator asks after half a second."""
LEASE_S = 1.0
RENEW_S = 0.3
EXPIRY_US = 2_000_000
START_LATE_S_MAX = 0.05
"""The window of the shipped barriers: a side that starts later than that starts over."""
CLOCK_S_MAX = 0.5
"""Chosen: a quarter of a command's life; a clock further off takes old commands for good ones."""
PERSON_S = 60.0
"""Chosen: what a person beside the arm needs to do what is asked."""
Kind = TypeVar("Kind")


class Failed(Exception):  # noqa: N818 (it says what happened)
    """The party did not keep what the line is about."""


class NotDone(Exception):  # noqa: N818 (it says what happened)
    """The line could not be looked at here."""


@dataclass(frozen=True, slots=True)
class Heard:
    """One message of the party."""

    at_us: int
    message: Message
    retained: bool


@dataclass(frozen=True, slots=True)
class Motion:
    """An action of the party that lasts long enough to be held in the middle."""

    action: str
    parameters: dict[str, Value]


class Probe:
    """One acceptance's end of the bus.

    Args:
        link: Not open yet; hears what a coordinator hears.
        party: Name of the party that is looked at.
        clock_us: The cell's clock.
        motions: Taken in turn, so that each has something to do.
        torque: (action, parameter) that asks for a torque, if the party has one.
        person: Tells a person beside the party what to do now; None where nobody is.
        memory: Puts a message into the broker's memory, or takes it out (False).
    """

    def __init__(
        self,
        link: Link,
        party: str,
        clock_us: Callable[[], int],
        motions: Sequence[Motion] = (),
        *,
        torque: tuple[str, str] | None = None,
        person: Callable[[str], None] | None = None,
        memory: Callable[[Message, bool], Awaitable[None]] | None = None,
    ) -> None:
        self.party = party
        self.clock_us = clock_us
        self.torque = torque
        self.heard: list[Heard] = []
        self.bad_us: list[int] = []
        """When the floor said that a signal is not good."""
        self.is_floor_good = True
        self.start_late_s_max = START_LATE_S_MAX
        self.epoch = clock_us() // 1_000_000
        self.lease: Lease | None = None
        """Renewed for as long as there is one; its `until_us` is set with each."""
        self._link = link
        self._motions = list(motions)
        self._person = person
        self._memory = memory
        self._number = clock_us() // 1_000
        self._sequence = 0
        self._ordinals = Ordinals()
        self._news = asyncio.Event()
        self._tasks: list[asyncio.Task[None]] = []

    async def open(self) -> None:
        """Connect, listen, and renew the lease while one is given."""
        await self._link.open()
        self._tasks = [asyncio.create_task(self._listen()), asyncio.create_task(self._renew())]

    async def close(self) -> None:
        """Leave the party held and without a lease."""
        self.lease = None
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await self._link.close()

    def number(self) -> int:
        """Return a number above every one given out, also by runs before."""
        self._number += 1
        return self._number

    def motion(self) -> Motion:
        """Return what the party is to do next."""
        if not self._motions:
            raise NotDone("the cell names no action that the party could be held in")
        self._motions.append(self._motions.pop(0))
        return self._motions[-1]

    def ask(self, what: str) -> None:
        """Ask the person beside the party to do something.

        Raises:
            NotDone: nobody is there.
        """
        if self._person is None:
            raise NotDone(f"needs a person beside the arm, to {what}: --attended")
        self._person(what)

    async def say(
        self,
        body: Body,
        *,
        subject: str = "",
        expires_in_us: int | None = EXPIRY_US,
        epoch: int | None = None,
        source: str = COORDINATOR,
    ) -> int:
        """Send a body; return when."""
        now_us = self.clock_us()
        self._sequence += 1
        expires_us = None if expires_in_us is None else now_us + expires_in_us
        of = self.epoch if epoch is None else epoch
        about = subject or self.party
        # Strangers count for nothing, so what they say is not numbered either.
        ordinal = self._ordinals.next(about, body) if source == COORDINATOR else None
        message = Message(source, about, self._sequence, of, now_us, body, expires_us, ordinal)
        await self._link.publish([message])
        return now_us

    def lose(self, body: Body) -> None:
        """Number a body for the party as if it had been sent, and do not send it."""
        self._sequence += 1
        self._ordinals.next(self.party, body)

    @contextlib.asynccontextmanager
    async def kept(self, body: Body) -> AsyncIterator[None]:
        """Let the broker keep a body for the party, which no coordinator ever does, for a while.

        Raises:
            NotDone: this bus keeps nothing for us.
        """
        if self._memory is None:
            raise NotDone("needs a broker that keeps a message for us")
        now_us, life_us = self.clock_us(), int(4 * PERSON_S * 1e6)
        self._sequence += 1
        message = Message(
            COORDINATOR, self.party, self._sequence, self.epoch, now_us, body, now_us + life_us
        )
        await self._memory(message, True)
        try:
            yield
        finally:
            await self._memory(message, False)

    async def want(
        self,
        kind: type[Kind],
        since: int,
        fits: Callable[[Kind], bool] = lambda _: True,
        within_s: float = ANSWER_S,
    ) -> tuple[Kind, int]:
        """Return the first body of a kind heard from a place on, and when it was heard.

        Raises:
            Failed: there was none in time.
        """
        found = await self.wait(kind, since, fits, within_s)
        if found is None:
            said = ", ".join(type(one.message.body).__name__ for one in self.heard[since:])
            name = kind.__name__
            raise Failed(f"no {name} within {within_s:g} s; it said {said or 'nothing'}")
        return found

    async def wait(
        self,
        kind: type[Kind],
        since: int,
        fits: Callable[[Kind], bool] = lambda _: True,
        within_s: float = ANSWER_S,
    ) -> tuple[Kind, int] | None:
        """Return the first body of a kind heard from a place on, None if there is none in time."""
        place = since
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(within_s):
                while True:
                    for one in self.heard[place:]:
                        body: Any = one.message.body
                        if isinstance(body, kind) and not one.retained and fits(body):
                            return body, one.at_us
                    place = len(self.heard)
                    self._news.clear()
                    await self._news.wait()
        return None

    async def require_silence(self, kind: type[Any], since: int, within_s: float = 0.4) -> None:
        """See that nothing of a kind is said.

        Raises:
            Failed: there was something.
        """
        if (found := await self.wait(kind, since, within_s=within_s)) is not None:
            raise Failed(f"it said {found[0]}")

    async def wait_floor_good(self) -> None:
        """Wait until the floor says that all its signals are good.

        Raises:
            Failed: they are not within a minute.
        """
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(PERSON_S):
                while not self.is_floor_good:
                    self._news.clear()
                    await self._news.wait()
                return
        raise Failed("the floor's signals did not turn good again")

    async def hold(self) -> None:
        """Bring the party to rest."""
        since, number = len(self.heard), self.number()
        await self.say(Hold("acceptance", number))
        await self.want(Held, since, lambda one: one.number == number, 8.0)

    async def ready(self, **caps: float) -> None:
        """Give a lease, renewed until told otherwise, and let the party leave held."""
        await self.hold()
        self.lease = Lease(0, **caps)
        await self.say_lease()
        since, number = len(self.heard), self.number()
        await self.say(MakeReady(number))
        await self.want(Ready, since, lambda one: one.number == number)

    async def begin(self) -> int:
        """Let the ready party begin a motion; return its command."""
        motion, number, since = self.motion(), self.number(), len(self.heard)
        await self.say(Do(number, "acceptance", motion.action, motion.parameters))
        await self.want(PartyState, since, lambda one: one.running == number, 3.0)
        if (await self.wait(Finished, since, within_s=0.2)) is not None:
            raise NotDone(f"'{motion.action}' is over too soon to be held")
        return number

    async def say_lease(self) -> None:
        """Send the lease once."""
        if self.lease is not None:
            until_us = self.clock_us() + int(LEASE_S * 1e6)
            lease = Lease(until_us, self.lease.torque_nm_max, self.lease.speed_share_max)
            await self.say(lease, subject=EVERYBODY, expires_in_us=int(LEASE_S * 1e6))

    async def _renew(self) -> None:
        while True:
            await self.say_lease()
            await asyncio.sleep(RENEW_S)

    async def _listen(self) -> None:
        while True:
            for one in await self._link.wait_delivered():
                if not isinstance(one, Delivered):
                    continue
                body = one.message.body
                if isinstance(body, FloorSignals):
                    self.is_floor_good = all(body.signals.values())
                    self.bad_us += [] if self.is_floor_good else [self.clock_us()]
                if one.message.source == self.party:
                    self.heard.append(Heard(self.clock_us(), one.message, one.retained))
            self._news.set()
