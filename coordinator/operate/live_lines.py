"""Show a run on the terminal: one line for each lane, and what a person should read in between.

Units: ``*_us`` whole microseconds since the run began.
"""

import contextlib
import sys
from collections.abc import Callable, Iterator

from rich.console import Console
from rich.live import Live
from rich.table import Table
from rich.text import Text

from coordinator.core.effects import Effect, Notify, RaisePrompt
from coordinator.core.events import Event
from coordinator.core.plan import Mode, Plan
from coordinator.core.state import State
from coordinator.live.explain import LaneWords, explain
from coordinator.live.prompt_words import prompt_words

FRAMES_PER_S = 4
"""Chosen: quick enough to follow, slow enough for a narrow line to a ship."""
QUIET = ("barrier_passed",)
"""Kinds of notices that the lines show anyhow."""


class LiveLines:
    """Listens to the coordinator and tells people.

    Args:
        plan: Names things.
        state: Before the first event.
        now_us: The time since the run began.
        say: Takes a line for people.
        typed: What stands in the input line so far.
        banner: Stands beside the clock on a terminal.
    """

    def __init__(
        self,
        plan: Plan,
        state: State,
        now_us: Callable[[], int],
        say: Callable[[str], None],
        *,
        typed: Callable[[], str],
        banner: str = "",
    ) -> None:
        self._plan = plan
        self._state = state
        self._now_us = now_us
        self._say = say
        self._typed = typed
        self._banner = banner
        self._told: dict[str, str] = {}
        self._is_drawn = False

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        """Take in one decision."""
        if state.phase != self._state.phase:
            reason = f": {state.reason}" if state.reason and state.phase != "running" else ""
            self._say(f"{stamp(event.at_us)} the procedure is {state.phase}{reason}")
        self._state = state
        for effect in effects:
            if isinstance(effect, RaisePrompt):
                self._say(f"{stamp(event.at_us)} {prompt_words(self._plan, effect)}")
            elif isinstance(effect, Notify) and effect.kind not in QUIET:
                self._say(f"{stamp(event.at_us)} {effect.severity}: {effect.text}")
        if not self._is_drawn:
            for words in explain(self._plan, state, event.at_us):
                self._append(words, event.at_us)

    @contextlib.contextmanager
    def shown(self) -> Iterator[None]:
        """Draw the lines on a terminal; elsewhere they are appended as they change."""
        console = Console(stderr=True, highlight=False)
        if not (console.is_terminal and sys.stderr.isatty()):
            yield
            return
        self._is_drawn = True
        with Live(
            console=console,
            get_renderable=self.table,
            refresh_per_second=FRAMES_PER_S,
            transient=True,
        ):
            yield

    def _append(self, words: LaneWords, at_us: int) -> None:
        """Say what a lane is doing, once for every time that this changes."""
        doing = words.doing or (f"waits for {words.waiting}" if words.waiting else "")
        if doing and doing != self._told.get(words.name):
            self._told[words.name] = doing
            self._say(f"{stamp(at_us)} {words.name}: {doing}; next: {words.next}")

    def table(self) -> Table:
        """Return the lines as they stand now."""
        now_us = self._now_us()
        columns = ("lane", "doing", "waits for", "since", "heard", "next")
        table = Table(*columns, box=None, pad_edge=False)
        for words, lane in zip(
            explain(self._plan, self._state, now_us), self._state.lanes, strict=True
        ):
            heard = (
                f"{max(now_us - lane.party.seen_us, 0) / 1e6:.1f} s" if lane.party.online else "NOT"
            )
            since = f"{max(now_us - words.since_us, 0) / 1e6:.0f} s"
            row = (words.name, words.doing, words.waiting, since, heard, words.next)
            table.add_row(*(Text(cell, overflow="ellipsis", no_wrap=True) for cell in row))
        table.caption = Text(f"{self._banner}{stamp(now_us)} {self._state.phase}")
        table.caption.append(state_words(self._plan, self._state, now_us))
        if self._typed():
            table.caption.append(f"  > {self._typed()}")
        return table


def state_words(plan: Plan, state: State, now_us: int) -> str:
    """Return mode and overrides where they are not the usual: they stand beside the clock."""
    words = "" if state.mode is Mode.AUTOMATIC else f"  mode {state.mode}"
    for one in state.overrides:
        left_s = (one.until_us - now_us) / 1e6
        name = plan.interlocks[one.interlock].name
        words += f"  OVERRIDE {name} by {one.who}, {left_s:.0f} s left: {one.why}"
    return words


def stamp(at_us: int) -> str:
    """Write a time of the run as minutes and seconds."""
    minutes, rest_us = divmod(max(at_us, 0), 60_000_000)
    return f"{minutes}:{rest_us / 1e6:05.2f}"
