"""Run a coordinator in real time: link to coordinator to link, until the procedure has ended.

Units: ``*_us`` microseconds of the cell's clock, which is handed in; ``*_s`` seconds.
Invariants: J1, an event is durable before its effects leave; H7, what ends the runtime unasked
first tells every arm to hold.
"""

import asyncio
import contextlib
import signal
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from coordinator.core.calls import is_hold
from coordinator.core.events import Act, OperatorActed, PersonEvent
from coordinator.core.state import ENDED
from coordinator.live.coordinator import Coordinator, OutdatedCoordinator
from coordinator.live.explain import waiting_for_step
from coordinator.live.link import Broken, Delivered, Delivery, Dropped, Link, LinkLost, Restored
from coordinator.live.operator import UNATTENDED, OperatorScript, play
from coordinator.wire.messages import Message

AT_REST = (*ENDED, "held", "idle")
SLACK_US = 1_000_000
"""Chosen: beyond the time that the core itself gives the arms to come to rest."""
BROKEN_US_MAX = 60_000_000
"""Chosen: nobody sits at an unattended run, and arms without a lease have long stood still."""
UNANSWERED_US_MAX = 30_000_000
"""Chosen: an unattended run waits this long for an answer, then it is held."""
WAIT_S_MAX = 3600.0
"""Chosen: a deadline further away is looked at again after this."""
TURNS_MAX = 1000
"""Deadlines of one moment; a core that wants more goes round in a circle."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a run ended: state of the procedure, and why."""

    phase: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class LinkNote:
    """Something about the link that a person should be able to read."""

    text: str


class Runtime:
    """Drive one coordinator on one link.

    Args:
        coordinator: Already has its journal, records and listeners.
        link: Not yet open.
        clock_us: The cell's clock.
        script: Plays the operator; None if only people do.
        interactive: Somebody may still answer or restart, so that held is no end.
        speed: How much faster than the wall the cell's clock runs; other than 1 with simulated
            parties only.
        on_link: Told of lost and restored links and of what was dropped at the border.
        farewell: Said before leaving, or a broker would go on to tell that we are there.
    """

    def __init__(
        self,
        coordinator: Coordinator,
        link: Link,
        clock_us: Callable[[], int],
        *,
        script: OperatorScript | None = None,
        interactive: bool = False,
        speed: float = 1.0,
        on_link: Callable[[LinkNote], None] | None = None,
        farewell: Message | None = None,
    ) -> None:
        self._coordinator = coordinator
        self._link = link
        self._clock_us = clock_us
        self._script = script
        self._interactive = interactive
        self._speed = speed
        self._on_link = on_link or (lambda note: None)
        self._farewell = farewell
        self._calls: list[PersonEvent] = []
        self._woken = asyncio.Event()
        self._leave_us: int | None = None
        self._asked_us: int | None = None
        """Since when a prompt or a step waits for a person who is not there."""
        self._is_left = False
        self._broken_us: int | None = None
        """Since when the link is broken."""
        self._waiting: asyncio.Task[tuple[Delivery, ...]] | None = None
        self._sending: list[asyncio.Task[None]] = []
        """What has been handed to the link, and the bus has not yet said that it has."""

    def submit(self, call: PersonEvent) -> None:
        """Take an operator's call, from the same event loop (the page, a terminal)."""
        self._calls.append(call)
        self._woken.set()

    def interrupt(self) -> None:
        """Hold everything and leave once it stands; a second time, leave at once."""
        if self._leave_us is not None:
            self._is_left = True
        else:
            hold_us = self._coordinator.plan.timing.hold_us + SLACK_US
            self._leave_us = self._clock_us() + hold_us
            self._calls.append(OperatorActed(0, Act.HOLD, "interrupt"))
        self._woken.set()

    async def run(self) -> Outcome:
        """Run to the end.

        Returns:
            The last state of the procedure; `held` when left by an interrupt.

        Raises:
            LinkUnreachable: LNK005, at the first connect.
            OutdatedCoordinator: LNK008; nothing is sent any more, the cell is another's.
            Exception: whatever went wrong with us, after every arm was told to hold.
        """
        await self._link.open()
        try:
            with _signals(self.interrupt):
                if self._coordinator.is_resumed:
                    await self._publish(self._coordinator.resume(self._clock_us()))
                return await self._loop()
        except OutdatedCoordinator:
            self._farewell = None  # The cell is another's, who is there.
            raise
        except Exception as error:
            # Neither an unwritable journal nor a mistake of ours may leave arms at work; a hold
            # needs no decision and is taken back only by a person.
            now_us = self._clock_us()
            await self._publish(self._coordinator.hold_messages(type(error).__name__, now_us))
            raise
        finally:
            await self._stop_waiting()
            await asyncio.gather(*self._sending, return_exceptions=True)
            if self._farewell is not None:
                await self._publish([self._farewell])
            await self._link.close()

    async def _loop(self) -> Outcome:
        deliveries: tuple[Delivery, ...] = ()
        while True:
            self._hand_out(self._turn(deliveries, self._clock_us()))
            outcome = self._outcome()
            if outcome is not None:
                return outcome
            deliveries = await self._wait()

    def _turn(self, deliveries: Sequence[Delivery], now_us: int) -> list[Message]:
        """Take in what came, let time pass, let operators act; return what is to be sent."""
        coordinator = self._coordinator
        calls, self._calls = self._calls, []
        messages: list[Message] = []
        # Before all that came over the bus and all other calls: nothing puts a hold off (P8).
        for call in filter(is_hold, calls):
            messages += coordinator.hear(call, now_us)
        messages += self._take(deliveries, now_us)
        for _ in range(TURNS_MAX):
            due_us = coordinator.next_us()
            if due_us is None or due_us > now_us:
                break
            messages += coordinator.advance(now_us)
        for call in (one for one in calls if not is_hold(one)):
            messages += coordinator.hear(call, now_us)
        if self._script is not None and self._leave_us is None:
            messages += play(self._script, coordinator, now_us)
        return messages + self._hold_unattended(now_us)

    def _take(self, deliveries: Sequence[Delivery], now_us: int) -> list[Message]:
        messages: list[Message] = []
        batch: list[tuple[Message, bool]] = []
        for delivery in deliveries:
            match delivery:
                case Delivered(message, retained):
                    batch.append((message, retained))
                case Dropped(reason):
                    self._on_link(LinkNote(reason))
                case Broken(reason):
                    # In order: what came before the break counts before it.
                    messages += self._coordinator.receive_all(batch, now_us)
                    batch = []
                    messages += self._coordinator.lose_link(now_us)
                    self._broken_us = now_us
                    self._on_link(LinkNote(reason))
                case Restored():
                    self._broken_us = None
                    self._on_link(LinkNote("the link works again"))
        return messages + self._coordinator.receive_all(batch, now_us)

    def _hold_unattended(self, now_us: int) -> list[Message]:
        """Hold a run that waits for a person while nobody is there and nothing is under way."""
        state = self._coordinator.state
        is_asked = bool(state.prompts) and not any(lane.command for lane in state.lanes)
        waits = is_asked or bool(waiting_for_step(self._coordinator.plan, state))
        script_waits = self._script is not None and self._script.next_us() is not None
        if self._interactive or not waits or script_waits or state.phase != "running":
            self._asked_us = None
            return []
        if self._asked_us is None:
            self._asked_us = now_us
        if now_us < self._asked_us + UNANSWERED_US_MAX:
            return []
        return self._coordinator.act(Act.HOLD, UNATTENDED, now_us)

    def _outcome(self) -> Outcome | None:
        state = self._coordinator.state
        if state.phase in ENDED:
            return Outcome(state.phase, state.reason)
        if self._leave_us is not None:
            late = self._clock_us() >= self._leave_us
            if self._is_left or late or state.phase in AT_REST:
                reason = state.reason if state.phase == "held" else "left before everything stood"
                return Outcome("held", "interrupted" if state.phase == "idle" else reason)
            return None
        gives_up_us = self._gives_up_us()
        if gives_up_us is not None and self._clock_us() >= gives_up_us:
            return Outcome("held", "the link stayed broken")
        script_waits = self._script is not None and self._script.next_us() is not None
        if state.phase == "held" and not self._interactive and not script_waits:
            return Outcome("held", state.reason)
        return None

    async def _wait(self) -> tuple[Delivery, ...]:
        """Wait for deliveries, a call, or the next deadline, whichever comes first."""
        if self._waiting is None:
            self._waiting = asyncio.create_task(self._link.wait_delivered())
        if not self._calls:
            self._woken.clear()
            woken = asyncio.create_task(self._woken.wait())
            try:
                await asyncio.wait(
                    {self._waiting, woken},
                    timeout=self._wait_s(),
                    return_when=asyncio.FIRST_COMPLETED,
                )
            finally:
                woken.cancel()
        if not self._waiting.done():
            return ()
        waited, self._waiting = self._waiting, None
        return waited.result()

    async def _stop_waiting(self) -> None:
        if self._waiting is not None:
            self._waiting.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._waiting

    def _gives_up_us(self) -> int | None:
        """Return when an unattended run with a broken link ends; None while there is no need."""
        if self._interactive or self._broken_us is None:
            return None
        return self._broken_us + BROKEN_US_MAX

    def _wait_s(self) -> float:
        dues = [self._coordinator.next_us(), self._leave_us, self._gives_up_us()]
        if self._asked_us is not None:
            dues.append(self._asked_us + UNANSWERED_US_MAX)
        if self._script is not None and self._leave_us is None:
            script_us = self._script.next_us()
            if script_us is not None:
                dues.append(script_us + self._coordinator.origin_us)
        now_us = self._clock_us()
        wait_s = min((due - now_us for due in dues if due is not None), default=None)
        if wait_s is None:
            return WAIT_S_MAX
        return min(max(wait_s / 1e6 / self._speed, 0.0), WAIT_S_MAX)

    def _hand_out(self, messages: Sequence[Message]) -> None:
        """Send in order, and go on deciding: that the broker has it proves nothing to anybody.

        The other arm's report must not wait for the acknowledgement of this one's command.
        """
        for one in [task for task in self._sending if task.done()]:
            self._sending.remove(one)
            one.result()  # What went wrong with us there ends the run here (H7).
        if messages:
            task = asyncio.create_task(self._publish(messages))
            task.add_done_callback(self._wake_if_failed)
            self._sending.append(task)

    def _wake_if_failed(self, task: asyncio.Task[None]) -> None:
        if not task.cancelled() and task.exception() is not None:
            self._woken.set()

    async def _publish(self, messages: Sequence[Message]) -> None:
        if not messages:
            return
        try:
            await self._link.publish(messages)
        except LinkLost as error:
            # The core learns it as lost parties from the link itself, and asks again later.
            self._on_link(LinkNote(str(error)))


@contextlib.contextmanager
def _signals(handler: Callable[[], None]) -> Iterator[None]:
    """Let Ctrl-C and a request to end call `handler`; where that cannot be, leave them alone."""
    loop = asyncio.get_running_loop()
    taken: list[signal.Signals] = []
    for number in (signal.SIGINT, signal.SIGTERM):
        # Not on every system, and only in the main thread.
        with contextlib.suppress(NotImplementedError, RuntimeError, ValueError):
            loop.add_signal_handler(number, handler)
            taken.append(number)
    try:
        yield
    finally:
        for caught in taken:
            loop.remove_signal_handler(caught)
