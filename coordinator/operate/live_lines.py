"""Show a run on the terminal: a line per lane and the open prompts, below what was printed.

Units: ``*_us`` whole microseconds since the run began; widths and heights in characters.
"""

from collections.abc import Callable
from textwrap import wrap

from rich.console import Group
from rich.table import Table
from rich.text import Text

from coordinator.core.effects import Effect, Notify, RaisePrompt
from coordinator.core.events import Event
from coordinator.core.plan import Mode, Plan
from coordinator.core.state import State
from coordinator.live.explain import LaneWords, explain
from coordinator.live.prompt_words import prompt_words
from coordinator.operate.prompt_region import prompt_region
from coordinator.operate.screen import Screen
from coordinator.operate.terminal_prompts import PromptDesk

QUIET = ("barrier_passed",)
"""Kinds of notices that the lines show anyhow."""
PRINTED_LINES_MIN = 4
"""Chosen: room for the last printed lines above the region, such as a refusal."""
STATUS_LINES_MAX = 3


class LiveLines:
    """Listens to the coordinator and shows its decisions to people.

    Args:
        plan: Gives the names.
        state: Before the first event.
        now_us: The time since the run began.
        screen: Prints lines, and draws the region.
        desk: Has the open prompts; listens before this one.
        typed: What stands in the input line so far; None if nobody can type.
        banner: Stands beside the clock on a terminal.
    """

    def __init__(
        self,
        plan: Plan,
        state: State,
        now_us: Callable[[], int],
        screen: Screen,
        *,
        desk: PromptDesk,
        typed: Callable[[], str] | None = None,
        banner: str = "",
    ) -> None:
        self._plan = plan
        self._state = state
        self._now_us = now_us
        self._screen = screen
        self._desk = desk
        self._typed = typed
        self._banner = banner
        self._told: dict[str, str] = {}

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        """Take in one decision."""
        say = self._screen.say
        if state.phase != self._state.phase:
            reason = f": {state.reason}" if state.reason and state.phase != "running" else ""
            say(f"{stamp(event.at_us)} the procedure is {state.phase}{reason}")
        self._state = state
        for effect in effects:
            if isinstance(effect, RaisePrompt):
                say(f"{stamp(event.at_us)} {prompt_words(self._plan, effect)}")
                if self._typed is not None:
                    say(f"  {self._desk.how()}")
            elif isinstance(effect, Notify) and effect.kind not in QUIET:
                say(f"{stamp(event.at_us)} {effect.severity}: {effect.text}")
        if not self._screen.is_drawn:
            for words in explain(self._plan, state, event.at_us):
                self._append(words, event.at_us)

    def _append(self, words: LaneWords, at_us: int) -> None:
        """Print what a lane is doing, once for every time that this changes."""
        doing = words.doing or (f"waits for {words.waiting}" if words.waiting else "")
        if doing and doing != self._told.get(words.name):
            self._told[words.name] = doing
            self._screen.say(f"{stamp(at_us)} {words.name}: {doing}; next: {words.next}")

    def region(self, width: int, height: int) -> Group:
        """Return what is drawn: the lanes, the open prompts, the state, and what is being typed."""
        status = self._status(width)
        rest = len(self._state.lanes) + 1 + len(status) + PRINTED_LINES_MIN
        rest += 0 if self._typed is None else 1
        opened = list(self._desk.opened.values())
        how = "" if self._typed is None else self._desk.how()
        prompts = prompt_region(self._plan, opened, how, (width, max(height - rest, 1)))
        lines = [*prompts, *status]
        if self._typed is not None:
            lines.append(f"> {self._typed()[-(width - 3) :]}")
        cut = (Text(line, overflow="ellipsis", no_wrap=True) for line in lines)
        return Group(self.table(), *cut)

    def table(self) -> Table:
        """Return the lines of the lanes as they stand now."""
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
        return table

    def _status(self, width: int) -> list[str]:
        now_us = self._now_us()
        words = f"{self._banner.rstrip(': ')}  {stamp(now_us)} {self._state.phase}"
        words += state_words(self._plan, self._state, now_us)
        return wrap(words.strip(), width)[:STATUS_LINES_MAX]


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
