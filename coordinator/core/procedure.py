"""Carry out what an operator asks of the procedure, or say every reason why not.

Invariants: H6, restart is a person's act of its own and names what is checked again; I3, what was
held moves only after a restart by a person; I5, after a restart nothing moves before every party
has said that it is ready; I6, nobody restarts over a trip that was not reset; E6, wherever it
stands a person can bring it to an orderly end; TD1, people read that everybody stands only while no
party is at work on a move.
"""

from coordinator.core import commands, interlocks, pairing, recovery
from coordinator.core.events import Act, OperatorActed
from coordinator.core.holds import begin_hold, query_outcome, tell_all_to_hold
from coordinator.core.state import (
    ACTIVE,
    BETWEEN,
    ENDED,
    HOLDING,
    LEAVING,
    Pending,
    Phase,
    Recovering,
    SignalValue,
    StepPhase,
    Stopped,
    Watch,
)
from coordinator.core.turn import Trigger, Turn


def act(turn: Turn, event: OperatorActed) -> None:
    """Do an operator's act if the procedure may; otherwise name what keeps it."""
    kind = event.act
    # Reset is no move of the procedure: it unlatches, in whatever phase (I7).
    if kind is Act.RESET:
        interlocks.reset(turn, event.who)
        return
    if not turn.may(kind.value):
        turn.refuse("act_refused", f"{kind}: not from {turn.state.phase}")
        return
    if kind in (Act.START, Act.RESTART):
        _set_going(turn, event)
    elif kind is Act.PAUSE:
        turn.proceed("pause", reason=f"paused by {event.who}")
    elif kind is Act.RESUME:
        turn.proceed("resume", reason="")
    elif kind is Act.HOLD:
        begin_hold(turn, "hold", f"held by {event.who}")
    elif kind is Act.STOP:
        begin_hold(turn, "stop", f"stopped by {event.who}")
    else:
        begin_hold(turn, "abort", f"aborted by {event.who}")


def take_up(turn: Turn) -> None:
    """Go on with a run whose coordinator ended: hold, and ask everybody before anything moves."""
    if turn.state.phase in ENDED:
        return
    for lane, at_hand in enumerate(turn.state.lanes):
        # What it was heard of went with the coordinator that ended: it must be heard of anew.
        turn.put_party(lane, at_hand.party._replace(online=False))
        query_outcome(turn, lane)
    # What the floor was like before says nothing about now.
    turn.change(signals=tuple(SignalValue() for _ in turn.state.signals))
    reason = "the coordinator has started anew"
    # Told anew: what was confirmed to the coordinator that ended may be so no more.
    if turn.state.phase in HOLDING:
        tell_all_to_hold(turn, turn.state.reason)
    else:
        begin_hold(turn, "hold", reason)
    turn.notify("alarm", "resumed", f"{reason}: {turn.state.phase}")


def settle_pause(turn: Turn) -> None:
    """Report paused once nothing is under way any more, nor told to hold and not yet at rest."""
    each = turn.state.lanes
    # Moves of a lane that waits for an answer are not under way: a person may take any time.
    busy = (one.command or one.rest.hold_us or (one.queue and not one.prompt) for one in each)
    spans = (pairing.open_span(turn, lane) >= 0 for lane in range(len(each)))
    if turn.state.phase is Phase.PAUSING and not any(busy) and not any(spans):
        turn.proceed("pause_done")
        turn.notify("note", "paused", "nothing moves; resume goes on")


def settle_restart(turn: Turn) -> None:
    """Once every party is ready again, put each interrupted lane back on its way."""
    if turn.state.phase is not Phase.RESTARTING or any(one.rest.held for one in turn.state.lanes):
        return
    turn.proceed("restart_done", reason="")
    asked = []
    for lane, at_hand in enumerate(turn.state.lanes):
        if isinstance(at_hand.at, Recovering):
            queue = recovery.with_acted(turn, lane, at_hand.at.queue, at_hand.node)
            turn.put_at(lane, at_hand.at._replace(queue=queue))
    # Pairs first: what goes back together must not be put on its way one by one.
    opened = [pairing.open_span(turn, lane) for lane in range(len(turn.state.lanes))]
    for span in sorted(dict.fromkeys(one for one in opened if one >= 0)):
        inside = [lane for lane, at in enumerate(opened) if at == span]
        if any(recovery.must_ask(turn, lane) for lane in inside):
            asked.append(span)  # Both go back together once a person has answered.
        elif len(inside) == len(turn.plan.spans[span].lanes) and not pairing.is_pulled(turn, span):
            pairing.rewind(turn, span, recheck=True)
    for lane in range(len(turn.state.lanes)):
        _put_back(turn, lane, tuple(asked))
    each = enumerate(turn.state.lanes)
    checks = [f"{turn.name(i)}: {move.action}" for i, one in each for move in one.owed]
    # Nothing is checked yet: that it was is said at the end of each check, one by one.
    turn.notify("note", "rechecks", "to check again: " + ("; ".join(checks) or "nothing"))
    turn.change(acted=())


def settle_end(turn: Turn) -> None:
    """Report complete once every lane is finished."""
    if turn.state.phase is Phase.RUNNING and all(lane.is_finished for lane in turn.state.lanes):
        turn.proceed("finish")
        turn.notify("note", "complete", "every lane is done")


def _put_back(turn: Turn, lane: int, asked: tuple[int, ...]) -> None:
    """Put a lane that is not gone back with its pair on its way again, re-checks first."""
    at_hand = turn.lane(lane)
    at = at_hand.at
    if isinstance(at, Pending):
        _check_first(turn, lane, at)
    if not isinstance(at, Stopped):
        return
    is_asked = recovery.must_ask(turn, lane)
    if is_asked or pairing.shared_span(turn, lane) in asked:
        # Owed from here on: made once the person has answered, and before anything else.
        turn.put_at(lane, at._replace(queue=recovery.rechecks(turn, lane)))
        if is_asked and turn.state.phase in ACTIVE:
            recovery.exhaust(turn, lane)
    elif at.then in LEAVING or at_hand.owed or turn.node(at_hand.node).barrier < 0:
        recovery.recover(turn, lane, recheck=True)
    else:
        # Armed there, it comes again; it has passed already if it only stood by afterwards.
        node = BETWEEN if at_hand.is_done(at_hand.node) else at_hand.node
        turn.step(lane, Pending(), "again", node=node)
        _check_first(turn, lane, Pending())


def _check_first(turn: Turn, lane: int, at: Pending) -> None:
    """Put what interlocks want checked again before whatever a lane does next, a barrier too."""
    at_hand = turn.lane(lane)
    undone = [one for one in turn.plan.lanes[lane] if not at_hand.is_done(one)]
    node = at_hand.node if at_hand.node >= 0 or not undone else undone[0]
    moves = recovery.with_acted(turn, lane, (), node)
    if moves and undone:
        recovering = Recovering(StepPhase.RECOVERING, at.fault, queue=moves)
        turn.step(lane, recovering, "recover", node=node)


def _set_going(turn: Turn, event: OperatorActed) -> None:
    unmet = interlocks.unmet_to_start(turn)
    if unmet:
        turn.refuse("act_refused", f"{event.act}: " + "; ".join(unmet))
        return
    is_restart = event.act is Act.RESTART
    trigger: Trigger = "restart" if is_restart else "start"
    turn.proceed(trigger, reason="", renew_us=turn.now_us, hold_us=0)
    turn.notify("note", event.act.value, f"{event.act} by {event.who}")
    if is_restart:
        # What was asked in vain before the hold is over: each is asked from the beginning.
        for lane in range(len(turn.state.lanes)):
            turn.put_watch(lane, Watch())
            commands.make_ready(turn, lane)
