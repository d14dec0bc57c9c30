"""Number the calls of one console, say until when each counts, and hand its answer back.

The age of a call is counted from the coordinator's time that the console showed last, plus the
console's own monotonic clock since then: a wall clock may be wrong on either side.

Units: ``*_us`` whole microseconds since the run began.
"""

import itertools
from collections.abc import Callable
from dataclasses import replace

from coordinator.core.effects import AnswerCall, Effect
from coordinator.core.events import Event, PersonEvent
from coordinator.core.state import State

EXPIRY_US = 2_000_000
"""Chosen: what was pressed longer ago was pressed about another situation."""
Answered = Callable[[AnswerCall], object]


class PersonCalls:
    """The calls of one console; listens to the coordinator.

    Args:
        console: Its name, unique among the consoles of a run.
        now_us: The time since the run began.
        speed: How much faster than life that runs; people are as fast as ever.
    """

    def __init__(self, console: str, now_us: Callable[[], int], speed: float = 1.0) -> None:
        self._expiry_us = round(EXPIRY_US * max(speed, 1.0))
        self._console = console
        self._now_us = now_us
        self._numbers = itertools.count(1)
        self._waiting: dict[str, Answered] = {}

    def make(
        self,
        act: PersonEvent,
        answered: Answered,
        *,
        call: str = "",
        pressed_us: int | None = None,
    ) -> PersonEvent:
        """Return an act as a call whose answer goes to `answered`.

        Args:
            act: What a person does.
            answered: Takes the core's answer.
            call: What the console calls it, the same when it sends it again; empty for a new one.
            pressed_us: When it was pressed; None for now. What lies ahead is taken as now.
        """
        now_us = max(self._now_us(), 0)
        # With the time: what a console numbered before a resume must not stand twice in a run.
        call = f"{self._console}-{call or f'{now_us}-{next(self._numbers)}'}"
        self._waiting[call] = answered
        pressed_us = now_us if pressed_us is None else min(pressed_us, now_us)
        # At least 1: 0 would make what was pressed before the run began count for ever.
        return replace(act, call=call, expires_us=max(pressed_us + self._expiry_us, 1))

    def refuse(self, act: PersonEvent, text: str) -> None:
        """Answer a call that never gets to the core; does nothing about another console's."""
        if (answered := self._waiting.pop(act.call, None)) is not None:
            answered(AnswerCall(act.call, "refused", text))

    def __call__(self, _: Event, effects: tuple[Effect, ...], __: State) -> None:
        """Hand every answer to whoever waits for it."""
        for effect in effects:
            if isinstance(effect, AnswerCall) and effect.call in self._waiting:
                self._waiting.pop(effect.call)(effect)
