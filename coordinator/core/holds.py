"""Bring everybody to rest, and know that they are.

The holds are operational, never a safety function.

Invariants: H1, held, stopped or aborted is shown only when everybody stands; H4, when the procedure
holds, everybody is told at once; I4, after a trip everybody comes to rest.
"""

from typing import Literal

from coordinator.core.effects import SendAsk, SendHold
from coordinator.core.prompts import withdraw_all
from coordinator.core.state import (
    AT_BARRIER,
    HOLDING,
    Commanded,
    CoreFault,
    Doing,
    Live,
    MeetingPhase,
    Phase,
    Recovering,
    Rest,
    Situation,
    StepPhase,
    Stopped,
    Watch,
)
from coordinator.core.turn import Trigger, Turn

HoldKind = Literal["hold", "stop", "abort"]
_CONFIRMED: dict[Phase, Trigger] = {
    Phase.HOLDING: "hold_done",
    Phase.STOPPING: "stop_done",
    Phase.ABORTING: "abort_done",
}


def begin_hold(turn: Turn, kind: HoldKind, reason: str) -> None:
    """Tell every party to hold; does nothing where the procedure holds already."""
    if not turn.may(kind):
        return
    # The phase first: a second reason within the same turn finds it holding and does nothing.
    turn.proceed(kind, reason=reason)
    turn.notify("warning", kind, reason)
    withdraw_all(turn, reason)
    tell_all_to_hold(turn, reason)


def tell_all_to_hold(turn: Turn, reason: str) -> None:
    """Send every party a hold of a new number, which alone they can confirm (H1)."""
    # One number for all, and new: who stood for an earlier hold may have been let go since (H1).
    number = turn.next_command()
    turn.change(hold_us=turn.now_us + turn.plan.timing.hold_us)
    for lane in range(len(turn.state.lanes)):
        # What a party alone was told to hold for is over: a restart decides about it.
        turn.put_order(lane, Rest(held=False, control=number), Watch())
        # Nor does a word for a step that was given before outlive what has happened since (M1).
        turn.put(lane, turn.lane(lane)._replace(allowed=0))
        _send_hold(turn, lane, reason)
    for barrier, meeting in enumerate(turn.state.meetings):
        # Nobody who was armed starts any more; after the restart they meet and arm again.
        if meeting.phase in (MeetingPhase.ARMING, MeetingPhase.TIMED_OUT):
            turn.end_meeting(barrier, "again")
        elif meeting.phase is MeetingPhase.RELEASED:
            turn.end_meeting(barrier, "break")
        elif meeting.deadline_us:
            turn.end_meeting(barrier)


def hold_party(turn: Turn, lane: int, within_us: int, reason: str) -> None:
    """Tell one party to hold, while the procedure runs on; it must confirm in time."""
    at_hand = turn.lane(lane)
    # Failing is kept: told twice, the fault of its own still waits to be decided on.
    rest = Rest(
        held=False,
        control=turn.next_command(),
        hold_us=turn.now_us + within_us,
        failing=at_hand.rest.failing,
    )
    # What was asked of it in vain counts on: it is the same party that does not answer.
    turn.put_order(lane, rest, Watch(asks=at_hand.watch.asks))
    _send_hold(turn, lane, reason)


def query_outcome(turn: Turn, lane: int) -> None:
    """Ask for the party's ledger before it is told to hold; its word settles the outcome."""
    at_hand = turn.lane(lane)
    if not at_hand.command:
        return
    if at_hand.at.phase not in AT_BARRIER:  # What was never released has not begun.
        note_unknown(turn, lane)
    turn.emit(SendAsk(lane, at_hand.command, turn.now_us + turn.plan.timing.expiry_us))


def note_unknown(turn: Turn, lane: int) -> None:
    """Note that nobody knows what became of the command; of a recovery's move the fault stays."""
    at = turn.lane(lane).at
    fault = at.fault or CoreFault.OUTCOME_UNKNOWN
    # Broken off by a party that died over it: it stands, and still nobody knows.
    if isinstance(at, Stopped):
        turn.put_at(lane, at._replace(fault=fault, unknown=True))
    elif isinstance(at, Live) and at.command is not None:
        command = at.command._replace(unknown=True)
        turn.put_at(lane, at._replace(fault=fault, command=command))


def settle_outcome(turn: Turn, lane: int) -> None:
    """The party's word says what became of the command: nobody need be asked."""
    turn.put_at(lane, settled(turn.lane(lane).at))


def settled(at: Situation) -> Situation:
    """Return a situation as it is once the party has said what became of the command."""
    fault = "" if at.fault == CoreFault.OUTCOME_UNKNOWN else at.fault
    if isinstance(at, Stopped):
        return at._replace(fault=fault, unknown=False)
    if isinstance(at, Live) and at.command is not None:
        return at._replace(fault=fault, command=at.command._replace(unknown=False))
    return at._replace(fault=fault)


def is_doubted(turn: Turn, lane: int) -> bool:
    """Tell whether the party has yet to say what became of the live command."""
    live = turn.lane(lane).live
    return live is not None and live.unknown


def ask_again(turn: Turn, lane: int) -> bool:
    """Ask a party that stands but never told what became of its command; False if it is of no use.

    A party reports the end of its command before it says that it stands: else the report was lost,
    and what it did must not be guessed.
    """
    at_hand = turn.lane(lane)
    in_move = at_hand.doing is Doing.MOVE
    is_bare = not at_hand.at.fault or (in_move and not at_hand.rest.failing)
    if at_hand.command and is_bare and at_hand.at.phase not in AT_BARRIER:
        note_unknown(turn, lane)
    asks = at_hand.watch.asks
    if not is_doubted(turn, lane) or asks >= turn.plan.timing.asks:
        return False
    turn.put_watch(lane, at_hand.watch._replace(asks=asks + 1))
    query_outcome(turn, lane)
    _send_hold(turn, lane, turn.state.reason)
    return True


def take_rest(turn: Turn, lane: int) -> None:
    """Note that a party stands; whatever it was doing is interrupted."""
    break_off(turn, lane)
    turn.put_rest(lane, Rest(held=True, control=turn.lane(lane).rest.control))


def break_off(turn: Turn, lane: int) -> None:
    """Note that the live command, if there is one, has ended before its end."""
    at = turn.lane(lane).at
    phase: Literal[StepPhase.INTERRUPTED] = StepPhase.INTERRUPTED
    if isinstance(at, Commanded):
        stopped = Stopped(phase, at.fault, at.evidence, unknown=at.command.unknown)
        turn.step(lane, stopped, "interrupt")
    elif isinstance(at, Recovering) and at.command is not None:
        unknown = at.command.unknown
        stopped = Stopped(phase, at.fault, at.evidence, at.queue, at.then, unknown, in_move=True)
        turn.step(lane, stopped, "interrupt")
    turn.put_watch(lane, Watch(asks=turn.lane(lane).watch.asks))


def confirm_rest(turn: Turn) -> None:
    """Report held, stopped or aborted once every party stands (H1)."""
    trigger = _CONFIRMED.get(turn.state.phase)
    # Every party, also those that had nothing to do: held is said of the whole cell.
    if trigger and all(lane.rest.held for lane in turn.state.lanes):
        turn.proceed(trigger, hold_us=0)
        turn.notify("note", turn.state.phase.value, f"every party stands: {turn.state.phase}")


def insist(turn: Turn) -> None:
    """Say hold again to whoever has not confirmed, for as long as it takes."""
    if turn.state.phase not in HOLDING or not 0 < turn.state.hold_us <= turn.now_us:
        return
    missing = [i for i, lane in enumerate(turn.state.lanes) if not lane.rest.held]
    names = ", ".join(turn.name(lane) for lane in missing)
    turn.notify("alarm", "hold_unconfirmed", f"{names}: has not confirmed that it stands")
    # Without end: nobody gives up telling an arm to hold, and the alarm stands meanwhile.
    turn.change(hold_us=turn.now_us + turn.plan.timing.hold_us)
    for lane in missing:
        if is_doubted(turn, lane):
            query_outcome(turn, lane)
        _send_hold(turn, lane, turn.state.reason)


def _send_hold(turn: Turn, lane: int, reason: str) -> None:
    expires_us = turn.now_us + turn.plan.timing.expiry_us
    turn.emit(SendHold(lane, turn.lane(lane).rest.control, reason, expires_us))
