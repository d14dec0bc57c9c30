"""Put into words how an interlock stands now: its signal, its latch, a person's override.

The cell's author writes what it means that an interlock acts; that is said only while it does.

Units: ``*_us`` whole microseconds since the run began.
"""

from typing import Literal

from coordinator.core.plan import Plan
from coordinator.core.state import State

Standing = Literal["good", "active", "unknown", "latched", "overridden"]


def interlock_standing(plan: Plan, state: State, index: int, now_us: int) -> Standing:
    """Return how an interlock stands; `latched` is a trip whose signal is good again."""
    interlock = plan.interlocks[index]
    signal = state.signals[interlock.signal]
    max_age_us = plan.signals[interlock.signal].max_age_us
    is_fresh = signal.value is not None and now_us - signal.seen_us <= max_age_us
    if is_fresh and signal.value:
        return "latched" if state.tripped[index] else "good"
    if any(one.interlock == index for one in state.overrides):
        return "overridden"
    return "active" if is_fresh else "unknown"


def interlock_words(plan: Plan, state: State, index: int, now_us: int) -> str:
    """Return what a person should know and do about an interlock, empty while it is good."""
    interlock = plan.interlocks[index]
    match interlock_standing(plan, state, index, now_us):
        case "good":
            return ""
        case "latched":
            return f"its signal is good again; latched until a reset ({interlock.cause})"
        case "overridden":
            who = next(one.who for one in state.overrides if one.interlock == index)
            return f"set aside by {who}: it keeps nobody from moving"
        case "unknown":
            return f"its signal is not known, which counts as active; {interlock.operator_action}"
        case "active":
            return f"{interlock.cause}; {interlock.operator_action}"


def reason_words(plan: Plan, state: State, now_us: int) -> str:
    """Return why the procedure holds, stops or has ended; what is over is said to be over."""
    for index, interlock in enumerate(plan.interlocks):
        if state.reason != f"{interlock.name}: {interlock.cause}":
            continue
        standing = interlock_standing(plan, state, index, now_us)
        if standing == "good":
            return f"{interlock.name} has acted; its signal is good again"
        if standing == "latched":
            return f"{interlock.name} has acted; its signal is good again, it wants a reset"
    return state.reason
