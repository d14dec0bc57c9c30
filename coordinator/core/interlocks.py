"""Decide whether anybody may move: three-valued interlocks, latched trips, first-out.

Invariants: I1, no motion command leaves while an interlock is active, unknown or too old, unless
its step names an exception; I2, nothing moves before a trip was reset by a person after its cause
had gone; I7, clearing and resetting move nothing; I8, a signal that is too old counts as unknown;
TD2, a trip is told as reset only while its signal is good.
"""

from itertools import compress
from operator import ne

from coordinator.core.events import SignalSeen
from coordinator.core.holds import begin_hold
from coordinator.core.plan import Interlock, InterlockKind
from coordinator.core.state import ACTIVE, Doing, Phase, SignalValue
from coordinator.core.turn import Turn


def is_good(turn: Turn, interlock: Interlock) -> bool:
    """Tell whether an interlock's signal is true, known and fresh enough now."""
    signal = turn.state.signals[interlock.signal]
    max_age_us = turn.plan.signals[interlock.signal].max_age_us
    return signal.value is True and turn.now_us - signal.seen_us <= max_age_us


def unmet_for(turn: Turn, node: int) -> tuple[int, ...]:
    """Return the interlocks that forbid motion for a node now; -1 asks without exceptions."""
    unmet = []
    # The last of the gates is that of no node: -1 finds it.
    for index, excepted in turn.plan.gates[node]:
        is_met = excepted or is_good(turn, turn.plan.interlocks[index])
        if turn.state.tripped[index] or not is_met:
            unmet.append(index)
    overridden = [one.interlock for one in turn.state.overrides]
    return tuple(i for i in unmet if i not in overridden or turn.state.tripped[i])


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
        if not lane.party.online
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
        # A permissive is asked for when something begins, and never stops what has begun.
        if interlock.kind is InterlockKind.PERMISSIVE or is_good(turn, interlock):
            continue
        if interlock.kind is InterlockKind.TRIP:
            _trip(turn, index)
        elif turn.state.phase in ACTIVE and _moves_under(turn, index):
            _act(turn, index)


def reset(turn: Turn, who: str) -> None:
    """Unlatch the trips whose condition is good again; moves nothing (I7)."""
    tripped = tuple(
        latched and not is_good(turn, turn.plan.interlocks[index])
        for index, latched in enumerate(turn.state.tripped)
    )
    was, names = turn.state.tripped, [interlock.name for interlock in turn.plan.interlocks]
    done = ", ".join(compress(names, map(ne, was, tripped)))
    for name in compress(names, tripped):
        text = f"{name} is still active: not reset"
        if done:
            turn.notify("warning", "reset_refused", text)
        else:
            turn.refuse("reset_refused", text)
    turn.change(tripped=tripped, first_out=-1 if not any(tripped) else turn.state.first_out)
    if done or not any(was):
        text = f"{who} has reset {done}" if done else f"reset by {who}: nothing was latched"
        # While anything may move this would be read as leave to step over the line.
        at_rest = "; nothing moves before a restart" if turn.state.phase is Phase.HELD else ""
        turn.notify("note", "reset", text + at_rest)


def _trip(turn: Turn, index: int) -> None:
    """Latch a trip; of what was not heard since the start nothing is known, nor may anything go."""
    # Before the first word of the floor nothing could have tripped: it only cannot start yet.
    never_heard = turn.state.signals[turn.plan.interlocks[index].signal].seen_us < 0
    if turn.state.phase is Phase.IDLE or turn.state.tripped[index] or never_heard:
        return
    tripped = turn.state.tripped
    turn.change(tripped=(*tripped[:index], True, *tripped[index + 1 :]))
    _act(turn, index)


def _act(turn: Turn, index: int) -> None:
    interlock = turn.plan.interlocks[index]
    if interlock.rechecks and index not in turn.state.acted:
        turn.change(acted=tuple(sorted((*turn.state.acted, index))))
    # First-out is kept until a reset: what acted later is often only its consequence.
    if turn.state.first_out < 0:
        turn.change(first_out=index)
        turn.notify("alarm", "first_out", f"{interlock.name}: {interlock.cause}")
    begin_hold(turn, "hold", f"{interlock.name}: {interlock.cause}")


def _moves_under(turn: Turn, index: int) -> bool:
    """Tell whether a party moves, or is about to, without an exception to this interlock."""
    # Overridden it still shows, and holds again at the end of the override (O2).
    if any(one.interlock == index for one in turn.state.overrides):
        return False
    for lane in turn.state.lanes:
        live = lane.live
        if live is None or live.doing is Doing.STAND or lane.node < 0:
            continue
        # Armed at a barrier it is about to move for the step behind it.
        node = lane.node if live.doing is Doing.MOVE else turn.plan.commanded[lane.node]
        if index not in tuple(i for i, _ in turn.node(node).exceptions):
            return True
    return False
