"""Join a run to the person at its terminal: what they read, and what they type."""

import contextlib
from asyncio import get_running_loop
from collections.abc import Callable, Iterator

from coordinator.core.effects import AnswerCall
from coordinator.core.events import PersonEvent
from coordinator.core.plan import Plan
from coordinator.core.state import State
from coordinator.live.alarms import Alarms
from coordinator.live.person_calls import PersonCalls
from coordinator.operate.live_lines import LiveLines
from coordinator.operate.screen import Screen
from coordinator.operate.terminal_prompts import WHO, PromptDesk, TerminalInput
from coordinator.operate.terminal_words import Words
from coordinator.page.feed import REPLY_S


class AtTerminal:
    """The terminal of one run; its `listeners` listen to the coordinator.

    Args:
        plan: Gives the names.
        state: Before the first event.
        screen: Where everything is printed.
        now_us: The time since the run began.
        alarms: To be shown, acknowledged and shelved.
        banner: Stands beside the clock.
        can_type: Somebody sits there; else the lines are only shown.
        speed: How much faster than life the run is.
    """

    def __init__(
        self,
        plan: Plan,
        state: State,
        screen: Screen,
        now_us: Callable[[], int],
        *,
        alarms: Alarms,
        banner: str,
        can_type: bool,
        speed: float = 1.0,
    ) -> None:
        self._screen = screen
        self._can_type = can_type
        self._keys = TerminalInput()
        self.calls = PersonCalls("terminal", now_us, speed)
        self._desk = PromptDesk(Words(plan, WHO, now_us, alarms))
        typed = (lambda: self._keys.typed) if can_type else None
        self._lines = LiveLines(
            plan, state, now_us, screen, desk=self._desk, typed=typed, banner=banner
        )
        self.listeners = self._desk, self._lines, self.calls

    @contextlib.contextmanager
    def used(self, submit: Callable[[PersonEvent], None]) -> Iterator[None]:
        """Draw the lines, and pass what is typed to `submit`."""
        with contextlib.ExitStack() as stack:
            if self._can_type:
                show = self._screen.refresh if self._screen.can_draw else None
                stack.enter_context(
                    self._keys.reading(lambda line: self._take_line(line, submit), show)
                )
            stack.enter_context(self._screen.shown(self._lines.region))
            yield

    def _take_line(self, line: str, submit: Callable[[PersonEvent], None]) -> None:
        if self._screen.is_drawn:
            self._screen.say(f"> {line}")  # The input line is empty again; what was typed stays.
        call = self._desk.read(line)
        if isinstance(call, str):
            self._screen.say(call)
            return
        late = get_running_loop().call_later(
            REPLY_S, self._screen.say, f"not answered yet: '{line.strip()}'; the run is busy"
        )

        def answered(said: AnswerCall) -> None:
            late.cancel()
            self._screen.say(f"{said.outcome}: {said.text}")

        submit(self.calls.make(call, answered))
