"""Let a person override an interlock for a while, by name and with a reason.

Invariants: O1, a trip is never overridden, nor anything longer than the cell allows; O2, an
override that has run out holds the procedure, whatever its interlock says by then.
"""

from coordinator.core.events import OverrideEnded, OverrideSet
from coordinator.core.holds import begin_hold
from coordinator.core.plan import InterlockKind
from coordinator.core.state import Override
from coordinator.core.turn import Turn


def set_override(turn: Turn, event: OverrideSet) -> None:
    """Take an override, or say why not."""
    interlock = turn.plan.interlocks[event.interlock]
    words = f"override of {interlock.name} by {event.who}"
    why_not = ""
    if interlock.kind is InterlockKind.TRIP or not interlock.override_us:
        why_not = "the cell allows none"
    elif not event.who.strip() or not event.why.strip():
        why_not = "say who and why"
    elif not 0 < event.until_us - turn.now_us <= interlock.override_us:
        why_not = f"must end within {interlock.override_us / 1e6:.0f} s"
    if why_not:
        turn.refuse("override_refused", f"{words}: {why_not}")
        return
    # One override for each interlock: a later one replaces it, and its end with it.
    others = tuple(one for one in turn.state.overrides if one.interlock != event.interlock)
    taken = Override(event.interlock, event.who, event.why, event.until_us)
    turn.change(overrides=tuple(sorted((*others, taken))))
    for_s = (event.until_us - turn.now_us) / 1e6
    turn.notify("alarm", "override", f"{words} for {for_s:.0f} s: {event.why}")


def end_override(turn: Turn, event: OverrideEnded) -> None:
    """Give an override back before its time; whether anything may move is asked anew."""
    if any(one.interlock == event.interlock for one in turn.state.overrides):
        _drop(turn, event.interlock, f"ended by {event.who}")
    else:
        name = turn.plan.interlocks[event.interlock].name
        turn.refuse("override_refused", f"{name} is not overridden")


def expire(turn: Turn) -> None:
    """End the overrides whose time is over; each of them holds (O2)."""
    for one in turn.state.overrides:
        if one.until_us <= turn.now_us:
            _drop(turn, one.interlock, "has run out")
            name = turn.plan.interlocks[one.interlock].name
            # Whatever the signal says by now: who set it aside decides with eyes on it.
            begin_hold(turn, "hold", f"override of {name} by {one.who} has run out")


def _drop(turn: Turn, interlock: int, why: str) -> None:
    turn.change(overrides=tuple(o for o in turn.state.overrides if o.interlock != interlock))
    name = turn.plan.interlocks[interlock].name
    turn.notify("alarm", "override_over", f"override of {name} {why}")
