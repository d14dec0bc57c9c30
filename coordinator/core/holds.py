"""Bring everybody to rest, and know that they are.

The holds are operational, never a safety function.

Invariants: H1, held, stopped or aborted is shown only when everybody stands; H4, when the procedure
holds, everybody is told at once; I4, after a trip everybody comes to rest.
"""

from typing import Literal

from coordinator.core.effects import SendAsk, SendHold
from coordinator.core.prompts import withdraw_all
from coordinator.core.state import Doing, Timer
from coordinator.core.turn import Turn
from coordinator.lifecycles import PROCEDURE, STEP

HOLDING_PHASES = ("holding", "stopping", "aborting")
OUTCOME_UNKNOWN = "outcome_unknown"
"""The fault of a lane while nobody knows what became of its command."""
HoldKind = Literal["hold", "stop", "abort"]


def begin_hold(turn: Turn, kind: HoldKind, reason: str) -> None:
    """Tell every party to hold; does nothing where the procedure holds already."""
    if not PROCEDURE.may(turn.state.phase, kind):
        return
    turn.proceed(kind, reason=reason)
    turn.notify("warning", kind, reason)
    withdraw_all(turn, reason)
    tell_all_to_hold(turn, reason)


def tell_all_to_hold(turn: Turn, reason: str) -> None:
    """Send every party a hold of a new number, which alone they can confirm (H1)."""
    number = turn.next_command()
    turn.change(hold_us=turn.now_us + turn.plan.timing.hold_us)
    for lane in range(len(turn.state.lanes)):
        turn.put(lane, held=False, hold_us=0, failing=False, control=number)
        turn.put(lane, timer=Timer.NONE, timer_us=0, timeout_us=0, asks=0)
        _send_hold(turn, lane, reason)
    for barrier, meeting in enumerate(turn.state.meetings):
        if meeting.phase in ("arming", "timed_out"):
            turn.meet(barrier, "again", deadline_us=0)
        elif meeting.phase == "released":
            turn.meet(barrier, "break", deadline_us=0)
        elif meeting.deadline_us:
            turn.meet(barrier, deadline_us=0)


def hold_party(turn: Turn, lane: int, within_us: int, reason: str) -> None:
    """Tell one party to hold, while the procedure runs on; it must confirm in time."""
    hold_us = turn.now_us + within_us
    turn.put(lane, hold_us=hold_us, held=False, control=turn.next_command())
    turn.put(lane, timer=Timer.NONE, timer_us=0, timeout_us=0)
    _send_hold(turn, lane, reason)


def doubt(turn: Turn, lane: int) -> None:
    """Ask for the party's ledger before it is told to hold; its word settles the outcome."""
    at_hand = turn.lane(lane)
    if not at_hand.command:
        return
    if at_hand.phase not in ("arming", "armed"):  # What was never released has not begun.
        not_known(turn, lane)
    turn.emit(SendAsk(lane, at_hand.command, turn.now_us + turn.plan.timing.expiry_us))


def not_known(turn: Turn, lane: int) -> None:
    """Note that nobody knows what became of the command; of a recovery's move the fault stays."""
    turn.put(lane, unknown=True, fault=turn.lane(lane).fault or OUTCOME_UNKNOWN)


def settle_outcome(turn: Turn, lane: int) -> None:
    """The party's word says what became of the command: nobody need be asked."""
    fault = turn.lane(lane).fault
    turn.put(lane, unknown=False, fault="" if fault == OUTCOME_UNKNOWN else fault)


def is_doubted(turn: Turn, lane: int) -> bool:
    """Tell whether the party has yet to say what became of the live command."""
    return turn.lane(lane).command > 0 and turn.lane(lane).unknown


def ask_again(turn: Turn, lane: int) -> bool:
    """Ask a party that stands but never told what became of its command; False if it is of no use.

    A party reports the end of its command before it says that it stands: else the report was lost,
    and what it did must not be guessed.
    """
    at_hand = turn.lane(lane)
    is_bare = not at_hand.fault or (at_hand.doing is Doing.MOVE and not at_hand.failing)
    if at_hand.command and is_bare and at_hand.phase not in ("arming", "armed"):
        not_known(turn, lane)
    if not is_doubted(turn, lane) or at_hand.asks >= turn.plan.timing.asks:
        return False
    turn.put(lane, asks=at_hand.asks + 1)
    doubt(turn, lane)
    _send_hold(turn, lane, turn.state.reason)
    return True


def take_rest(turn: Turn, lane: int) -> None:
    """Note that a party stands; whatever it was doing is interrupted."""
    break_off(turn, lane)
    turn.put(lane, held=True, hold_us=0)


def break_off(turn: Turn, lane: int) -> None:
    """Note that the live command has ended before its end."""
    at_hand = turn.lane(lane)
    if at_hand.command and STEP.may(at_hand.phase, "interrupt"):
        turn.step(lane, "interrupt")
    turn.put(lane, command=0, torque_nm=None, timer=Timer.NONE, timer_us=0, timeout_us=0)


def confirm_rest(turn: Turn) -> None:
    """Report held, stopped or aborted once every party stands (H1)."""
    done = {"holding": "hold_done", "stopping": "stop_done", "aborting": "abort_done"}
    trigger = done.get(turn.state.phase)
    if trigger and all(lane.held for lane in turn.state.lanes):
        turn.proceed(trigger, hold_us=0)
        turn.notify("note", turn.state.phase, f"every party stands: {turn.state.phase}")


def insist(turn: Turn) -> None:
    """Say hold again to whoever has not confirmed, for as long as it takes."""
    if turn.state.phase not in HOLDING_PHASES or not 0 < turn.state.hold_us <= turn.now_us:
        return
    missing = [i for i, lane in enumerate(turn.state.lanes) if not lane.held]
    names = ", ".join(turn.name(lane) for lane in missing)
    turn.notify("alarm", "hold_unconfirmed", f"{names}: has not confirmed that it stands")
    turn.change(hold_us=turn.now_us + turn.plan.timing.hold_us)
    for lane in missing:
        if is_doubted(turn, lane):
            doubt(turn, lane)
        _send_hold(turn, lane, turn.state.reason)


def _send_hold(turn: Turn, lane: int, reason: str) -> None:
    expires_us = turn.now_us + turn.plan.timing.expiry_us
    turn.emit(SendHold(lane, turn.lane(lane).control, reason, expires_us))
