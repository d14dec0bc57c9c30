"""Tell each hold as a story: the seconds before it, what came first, and what followed beneath.

Units: ``*_us`` whole microseconds since the run began.
Invariants: ST1, what is collected beneath a hold is never lost and stays in the order in which it
came.
"""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

from coordinator.core.effects import Effect, Notify, SendDo
from coordinator.core.events import CommandFaulted, Event, PartyHeld, SignalSeen
from coordinator.core.plan import Plan
from coordinator.core.state import State

BEFORE_US = 10_000_000
"""Chosen: what was seen in the ten seconds before a hold."""
LINES_MAX = 200
"""Chosen: far more than happens in ten seconds."""
ENDS = ("held", "stopped", "aborted")


@dataclass(slots=True)
class Story:
    """One hold."""

    at_us: int
    first: str
    """What came first: the first-out interlock, or the reason of the hold."""
    before: tuple[tuple[int, str], ...]
    """(when, what) in the seconds before."""
    beneath: list[tuple[int, str]] = field(default_factory=list)
    """(when, what) followed, until everybody stood."""

    def lines(self) -> list[str]:
        """Return it as lines for people, times counted from the hold."""
        said = [f"HOLD at {self.at_us / 1e6:.1f} s: {self.first}"]
        said += [f"    {(at - self.at_us) / 1e6:+.2f} s {text}" for at, text in self.before]
        said += [f"        {(at - self.at_us) / 1e6:+.2f} s {text}" for at, text in self.beneath]
        return said


class HoldStories:
    """Listens to the coordinator."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._recent: deque[tuple[int, str]] = deque(maxlen=LINES_MAX)
        self._open: Story | None = None
        self.told: list[Story] = []

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        """Take in one decision."""
        seen = [*self._of_event(event), *(self._of_effect(one) for one in effects)]
        for text, kind in [one for one in seen if one is not None]:
            if self._open is not None:
                self._open.beneath.append((event.at_us, text))
            elif kind in ("first_out", "hold", "abort", "stop"):
                self._begin(event.at_us, text)
            else:
                self._recent.append((event.at_us, text))
        if self._open is not None and state.phase in ENDS:
            self._open = None
            self._recent.clear()

    def _begin(self, at_us: int, first: str) -> None:
        before = tuple(one for one in self._recent if one[0] >= at_us - BEFORE_US)
        self._open = Story(at_us, first, before)
        self.told.append(self._open)

    def _of_event(self, event: Event) -> list[tuple[str, str] | None]:
        if isinstance(event, SignalSeen) and event.value is not True:
            value = "unknown" if event.value is None else "not good"
            return [(f"{self._plan.signals[event.signal].name} is {value}", "signal")]
        if isinstance(event, CommandFaulted):
            return [(f"{self._plan.parties[event.party].name} reports {event.fault}", "report")]
        if isinstance(event, PartyHeld) and event.reason and not event.number:
            name = self._plan.parties[event.party].name
            return [(f"{name} held by itself: {event.reason}", "report")]
        return []

    def _of_effect(self, effect: Effect) -> tuple[str, str] | None:
        if isinstance(effect, Notify) and effect.kind != "barrier_passed":
            return effect.text, effect.kind
        if isinstance(effect, SendDo) and effect.node >= 0:
            name = self._plan.parties[effect.party].name
            return f"{name} is told: {self._plan.nodes[effect.node].name}", "do"
        return None


class TellStories:
    """Tells each hold once everybody stands."""

    def __init__(self, stories: HoldStories, say: Callable[[str], None]) -> None:
        self._stories = stories
        self._say = say
        self._told = 0

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        """Take in one decision."""
        self._stories(event, effects, state)
        if state.phase in ENDS and self._told < len(self._stories.told):
            self._told = len(self._stories.told)
            self._say("\n  ".join(self._stories.told[-1].lines()))
