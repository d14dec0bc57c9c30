"""Answer every person who acted: done, refused with all reasons, too late, or taken already.

A person who presses a button must not have to guess from the notices what became of it. An act
without a call (a script, a case, an old journal) is decided in the same way and answered nowhere.

A hold is done however often and however late it comes: who wants all at rest never has to wait.

Invariants: P7, every call of a person gets exactly one answer, of the core; P8, a hold is never too
late, and is taken before every other call; P9, a call that comes too late or a second time does
nothing.
"""

from typing import assert_never

from coordinator.core import answers, events, interlocks, modes, overrides, procedure
from coordinator.core.effects import AnswerCall, CallOutcome, Notify
from coordinator.core.events import Act, OperatorActed, PersonEvent
from coordinator.core.turn import Turn

KEPT = 32
"""Calls remembered; chosen: more than people press before a console that lost its link is back."""


def is_hold(event: PersonEvent) -> bool:
    """Tell whether an act asks for all at rest: nothing puts that off (P8)."""
    return isinstance(event, OperatorActed) and event.act is Act.HOLD


def take(turn: Turn, event: PersonEvent) -> None:
    """Decide about an act of a person, and answer the call that it came by."""
    if not event.call:
        _do(turn, event)
    elif event.call in turn.state.calls and not is_hold(event):
        _answer(turn, event, "repeated", "was taken already; nothing is done twice")
    elif 0 < event.expires_us < turn.now_us and not is_hold(event):
        # Not remembered: sent once more, now meant, it is another call.
        late_s = (turn.now_us - event.expires_us) / 1e6
        text = f"too late by {late_s:.1f} s, nothing was done; look, and press again if still meant"
        turn.notify("warning", "call_late", f"{_name_of(event)}: {text}")
        _answer(turn, event, "late", text)
    else:
        turn.change(calls=(*turn.state.calls, event.call)[-KEPT:])
        _do(turn, event)
        told = tuple(one.text for one in turn.effects if isinstance(one, Notify))
        text = "; ".join(turn.refusals or told) or f"the procedure is {turn.state.phase}"
        _answer(turn, event, "refused" if turn.refusals else "done", text)


def _do(turn: Turn, event: PersonEvent) -> None:
    match event:
        case events.OperatorActed():
            # What a person is refused for must be so now, not when the last timer ran.
            interlocks.forget_old_signals(turn)
            procedure.act(turn, event)
        case events.PromptAnswered():
            answers.answer(turn, event)
        case events.PromptTaken():
            answers.take(turn, event)
        case events.ModeSet():
            modes.set_mode(turn, event)
        case events.StepAllowed():
            modes.allow(turn, event)
        case events.OverrideSet():
            overrides.set_override(turn, event)
        case events.OverrideEnded():
            overrides.end_override(turn, event)
            interlocks.watch(turn)
        case _:
            assert_never(event)


def _answer(turn: Turn, event: PersonEvent, outcome: CallOutcome, text: str) -> None:
    # First: whoever pressed reads it before anything that follows from it.
    turn.effects.insert(0, AnswerCall(event.call, outcome, f"{_name_of(event)}: {text}"))


def _name_of(event: PersonEvent) -> str:
    match event:
        case OperatorActed():
            return event.act.value
        case events.PromptAnswered():
            return f"{event.option} to prompt {event.prompt}"
        case events.PromptTaken():
            return f"take prompt {event.prompt}"
        case events.ModeSet():
            return f"mode {event.mode}"
        case events.StepAllowed():
            return "step"
        case events.OverrideSet() | events.OverrideEnded():
            return "override"
    assert_never(event)
