"""Decide whether anybody may move: three-valued interlocks, latched trips, first-out.

Invariants: I1, no motion command leaves while an interlock is active, unknown or too old, unless
its step names an exception; I2, nothing moves before a trip was reset by a person after its cause
had gone; I7, clearing and resetting move nothing; I8, a signal that is too old counts as unknown.
"""

from coordinator.core.events import SignalSeen
from coordinator.core.holds import begin_hold
from coordinator.core.plan import Interlock, InterlockKind
from coordinator.core.state import Doing, SignalValue
from coordinator.core.turn import Turn

ACTIVE_PHASES = ("running", "pausing", "paused", "restarting")


def is_good(turn: Turn, interlock: Interlock) -> bool:
    """Tell whether an interlock's signal is true, known and fresh enough now."""
    signal = turn.state.signals[interlock.signal]
    max_age_us = turn.plan.signals[interlock.signal].max_age_us
    return signal.value is True and turn.now_us - signal.seen_us <= max_age_us


def unmet_for(turn: Turn, node: int) -> tuple[int, ...]:
    """Return the interlocks that forbid motion for a node now; -1 asks without exceptions."""
    excepted = tuple(one.interlock for one in turn.state.overrides)
    excepted += () if node < 0 else tuple(i for i, _ in turn.node(node).exceptions)
    needed = () if node < 0 else turn.node(node).permissives
    return tuple(
        index
        for index, interlock in enumerate(turn.plan.interlocks)
        if (interlock.kind is not InterlockKind.PERMISSIVE or index in needed)
        and (turn.state.tripped[index] or (index not in excepted and not is_good(turn, interlock)))
    )


def unmet_to_start(turn: Turn) -> tuple[str, ...]:
    """Return, in words, every condition that keeps the procedure from starting or restarting."""
    words = []
    overridden = [one.interlock for one in turn.state.overrides]
    for index, interlock in enumerate(turn.plan.interlocks):
        if index in overridden:
            continue
        if turn.state.tripped[index]:
            words.append(f"{interlock.name} is latched: reset it first")
        elif interlock.kind is not InterlockKind.INTERLOCK and not is_good(turn, interlock):
            words.append(f"{interlock.name}: {interlock.cause}")
    words += [
        f"{turn.name(index)} is not on the bus"
        for index, lane in enumerate(turn.state.lanes)
        if not lane.online
    ]
    return tuple(words)


def see_signal(turn: Turn, event: SignalSeen) -> bool:
    """Take in a signal; tell whether its value changed."""
    signals = turn.state.signals
    changed = signals[event.signal].value is not event.value
    value = SignalValue(event.value, event.at_us)
    turn.change(signals=(*signals[: event.signal], value, *signals[event.signal + 1 :]))
    return changed


def forget_old_signals(turn: Turn) -> None:
    """Let every signal that is too old become unknown."""
    for index, signal in enumerate(turn.state.signals):
        max_age_us = turn.plan.signals[index].max_age_us
        if signal.value is not None and turn.now_us - signal.seen_us > max_age_us:
            signals = turn.state.signals
            old = signal._replace(value=None)
            turn.change(signals=(*signals[:index], old, *signals[index + 1 :]))
            name = turn.plan.signals[index].name
            age_s = (turn.now_us - signal.seen_us) / 1e6
            turn.notify("warning", "signal_old", f"{name} is {age_s:.2f} s old: unknown")


def watch(turn: Turn) -> None:
    """Latch trips, and hold if an interlock acts on anything that moves."""
    for index, interlock in enumerate(turn.plan.interlocks):
        if interlock.kind is InterlockKind.PERMISSIVE or is_good(turn, interlock):
            continue
        if interlock.kind is InterlockKind.TRIP:
            _trip(turn, index)
        elif turn.state.phase in ACTIVE_PHASES and _moves_under(turn, index):
            _act(turn, index)


def reset(turn: Turn, who: str) -> None:
    """Unlatch the trips whose condition is good again; moves nothing (I7)."""
    tripped = tuple(
        latched and not is_good(turn, turn.plan.interlocks[index])
        for index, latched in enumerate(turn.state.tripped)
    )
    for index, latched in enumerate(tripped):
        if latched:
            name = turn.plan.interlocks[index].name
            turn.notify("warning", "reset_refused", f"{name} is still active: not reset")
    turn.change(tripped=tripped, first_out=-1 if not any(tripped) else turn.state.first_out)
    turn.notify("note", "reset", f"reset by {who}; nothing moves until a restart")


def _trip(turn: Turn, index: int) -> None:
    """Latch a trip; of what was not heard since the start nothing is known, nor may anything go."""
    never_heard = turn.state.signals[turn.plan.interlocks[index].signal].seen_us < 0
    if turn.state.phase == "idle" or turn.state.tripped[index] or never_heard:
        return
    tripped = turn.state.tripped
    turn.change(tripped=(*tripped[:index], True, *tripped[index + 1 :]))
    _act(turn, index)


def _act(turn: Turn, index: int) -> None:
    interlock = turn.plan.interlocks[index]
    if interlock.rechecks and index not in turn.state.acted:
        turn.change(acted=tuple(sorted((*turn.state.acted, index))))
    if turn.state.first_out < 0:
        turn.change(first_out=index)
        turn.notify("alarm", "first_out", f"{interlock.name}: {interlock.cause}")
    begin_hold(turn, "hold", f"{interlock.name}: {interlock.cause}")


def _moves_under(turn: Turn, index: int) -> bool:
    """Tell whether a party moves, or is about to, without an exception to this interlock."""
    if any(one.interlock == index for one in turn.state.overrides):
        return False
    for lane in turn.state.lanes:
        if not lane.command or lane.doing is Doing.STAND or lane.node < 0:
            continue
        node = turn.node(lane.node)
        if lane.phase in ("arming", "armed"):
            barrier = turn.plan.barriers[node.barrier]
            node = turn.node(barrier.next_nodes[barrier.nodes.index(lane.node)])
        if index not in tuple(i for i, _ in node.exceptions):
            return True
    return False
