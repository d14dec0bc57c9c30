"""Decide in which mode a lane may begin what comes next: by itself, step by step, or by hand.

Invariants: M1, in semi-automatic and manual mode no step begins without a person's word for it; M2,
a paired span that was begun is brought to its end in every mode, for half of it would be a lone
pull.
"""

from coordinator.core import pairing
from coordinator.core.events import ModeSet, StepAllowed
from coordinator.core.plan import Mode
from coordinator.core.state import DECIDING
from coordinator.core.turn import Turn

TO_BARRIER = -1
"""Allowed as many steps as there are before the next barrier."""


def set_mode(turn: Turn, event: ModeSet) -> None:
    """Change the mode; what was allowed before counts no more."""
    turn.change(mode=Mode(event.mode))
    # A word given in one mode must not begin a step in another.
    for lane in range(len(turn.state.lanes)):
        _allow(turn, lane, 0)
    turn.notify("warning", "mode", f"mode is {event.mode}, by {event.who}")


def allow(turn: Turn, event: StepAllowed) -> None:
    """Let one lane, or outside manual mode all of them, begin the next step."""
    mode, lanes = turn.state.mode, range(len(turn.state.lanes))
    # A word kept for later would make a start or a restart move what nobody looks at then.
    is_idle = mode is Mode.AUTOMATIC or turn.state.phase not in DECIDING
    if is_idle or (mode is Mode.MANUAL and event.party not in lanes):
        why = "nothing waits for it" if is_idle else "in manual mode say which lane"
        turn.refuse("step_refused", f"step by {event.who}: {why}")
        return
    for lane in lanes:
        if event.party in (-1, lane):
            _allow(turn, lane, TO_BARRIER if mode is Mode.TO_BARRIER else 1)
    whose = "every lane" if event.party < 0 else turn.name(event.party)
    turn.notify("note", "step", f"step for {whose}, by {event.who}")


def is_allowed(turn: Turn, lane: int) -> bool:
    """Tell whether a lane may be armed for what follows its barrier (M1)."""
    return turn.state.mode is Mode.AUTOMATIC or turn.lane(lane).allowed != 0


def may_begin(turn: Turn, lane: int) -> bool:
    """Tell whether a lane may begin its next step (M1, M2)."""
    return is_allowed(turn, lane) or pairing.open_span(turn, lane) >= 0


def use(turn: Turn, lane: int, *, at_barrier: bool = False) -> None:
    """Note that a lane has begun what it was allowed to."""
    # Allowed up to a barrier it stays so over its steps, and is used up by the barrier itself.
    if turn.lane(lane).allowed > 0 or at_barrier:
        _allow(turn, lane, 0)


def _allow(turn: Turn, lane: int, steps: int) -> None:
    if turn.lane(lane).allowed != steps:
        turn.put(lane, turn.lane(lane)._replace(allowed=steps))
