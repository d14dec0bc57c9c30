"""Send commands: the only place from which motion leaves, and the one that asks after silence.

Invariants: A1, command numbers grow, so that each is given out once; A2, a command is sent again
only if its party refused it; A5, a command is sent only for a step that has a move; I1, no motion
command leaves while an interlock is active, unknown or too old, unless its step names an exception.
"""

from coordinator.core import interlocks, zones
from coordinator.core.effects import SendAsk, SendDisarm, SendDo, SendMakeReady, SendRelease
from coordinator.core.events import MessagesMissed
from coordinator.core.plan import Move
from coordinator.core.state import Doing, Timer
from coordinator.core.turn import Turn, require

STAND_BY = Move("stand_by")


def may_send(turn: Turn, lane: int, node: int, move: Move) -> bool:
    """Tell whether a move may leave now: the party is there, interlocks are good, its zone free."""
    unmet = interlocks.unmet_for(turn, node)
    if move is STAND_BY:
        # Standing by moves nothing: only what has tripped keeps it.
        unmet = tuple(i for i in unmet if turn.state.tripped[i])
    at_hand = turn.lane(lane)
    at_rest = at_hand.held or at_hand.hold_us > 0
    return at_hand.online and not at_rest and not unmet and zones.is_free(turn, lane, move)


def live_move(turn: Turn, lane: int) -> Move:
    """Return the move that the lane's live command asks for."""
    at_hand = turn.lane(lane)
    if at_hand.doing is Doing.STAND:
        return STAND_BY
    if at_hand.doing is Doing.MOVE:
        return at_hand.queue[0]
    node = live_node(turn, lane)
    move = turn.node(node).move
    require(move is not None, "A5", f"node {node} has no move")
    return move or STAND_BY


def live_node(turn: Turn, lane: int) -> int:
    """Return the node that the lane's live command belongs to; at a barrier, the armed step."""
    at_hand = turn.lane(lane)
    barrier = turn.node(at_hand.node).barrier
    if barrier < 0 or at_hand.doing is Doing.MOVE:
        return at_hand.node
    meeting = turn.plan.barriers[barrier]
    return meeting.next_nodes[meeting.nodes.index(at_hand.node)]


def send(turn: Turn, lane: int, doing: Doing, *, barrier: int = -1) -> None:
    """Give out a new command for the lane's step, recovery move or stand-by.

    The caller has asked `may_send`; at a barrier the command is armed only.
    """
    turn.put(lane, command=turn.next_command(), doing=doing, asks=0)
    move = live_move(turn, lane)
    zones.enter(turn, lane, move)
    turn.put(
        lane,
        timer=Timer.ACKNOWLEDGE,
        timer_us=turn.now_us + turn.plan.timing.acknowledge_us,
        timeout_us=0 if barrier >= 0 else turn.now_us + move.timeout_us,
        torque_nm=None,
    )
    _emit_do(turn, lane, barrier)


def release(turn: Turn, lane: int, start_us: int) -> None:
    """Start the lane's armed command at `start_us`."""
    at_hand = turn.lane(lane)
    move = live_move(turn, lane)
    turn.put(
        lane,
        timer=Timer.PROGRESS,
        timer_us=start_us + move.no_progress_us,
        timeout_us=start_us + move.timeout_us,
        asks=0,
    )
    turn.emit(SendRelease(lane, at_hand.command, start_us, start_us))


def disarm(turn: Turn, lane: int, reason: str) -> None:
    """Forget the lane's armed command; a late answer to it does nothing."""
    expires_us = turn.now_us + turn.plan.timing.expiry_us
    turn.emit(SendDisarm(lane, turn.lane(lane).command, reason, expires_us))
    clear(turn, lane)


def clear(turn: Turn, lane: int) -> None:
    """Forget the lane's live command and its timers."""
    turn.put(lane, command=0, asks=0, torque_nm=None, unknown=False)
    turn.put(lane, timer=Timer.NONE, timer_us=0, timeout_us=0)


def see_work(turn: Turn, lane: int) -> None:
    """Note a sign of work on the live command."""
    if turn.lane(lane).hold_us or turn.state.phase not in interlocks.ACTIVE_PHASES:
        return
    no_progress_us = live_move(turn, lane).no_progress_us
    turn.put(lane, timer=Timer.PROGRESS, timer_us=turn.now_us + no_progress_us, asks=0)


def make_ready(turn: Turn, lane: int) -> None:
    """Let a held party take commands again; it answers with ready."""
    timing = turn.plan.timing
    control = turn.next_command()
    timer_us = turn.now_us + timing.acknowledge_us
    turn.put(lane, timer=Timer.READY, timer_us=timer_us, control=control)
    turn.emit(SendMakeReady(lane, control, turn.now_us + timing.expiry_us))


def ask(turn: Turn, lane: int) -> bool:
    """Ask what became of the live command; False once it was asked as often as allowed."""
    at_hand = turn.lane(lane)
    if at_hand.asks >= turn.plan.timing.asks:
        return False
    timing = turn.plan.timing
    turn.put(lane, asks=at_hand.asks + 1, timer_us=turn.now_us + timing.acknowledge_us)
    turn.emit(SendAsk(lane, at_hand.command, turn.now_us + timing.expiry_us))
    return True


def ask_early(turn: Turn, event: MessagesMissed) -> None:
    """Tell that messages were lost, and ask what they were about, before any timer does.

    Not counted as an ask: nobody holds because an answer to this one is lost as well.
    """
    lane, expires_us = event.party, turn.now_us + turn.plan.timing.expiry_us
    way = "never reached it" if event.by_party else "never came"
    name = "the floor" if lane < 0 else turn.name(lane)
    turn.notify("warning", "messages_missed", f"{name}: {event.missed} messages {way}", party=lane)
    if lane >= 0 and not event.by_party:  # Who tells what it missed has just said how it stands.
        turn.emit(SendAsk(lane, 0, expires_us))
    is_active = turn.state.phase in interlocks.ACTIVE_PHASES
    if lane >= 0 and is_active and turn.lane(lane).command and not turn.lane(lane).hold_us:
        turn.emit(SendAsk(lane, turn.lane(lane).command, expires_us))


def repeat(turn: Turn, lane: int) -> None:
    """Send the live command again under its own number: the party has said it never came (A2)."""
    at_hand = turn.lane(lane)
    node = turn.node(at_hand.node)
    if may_send(turn, lane, live_node(turn, lane), live_move(turn, lane)):
        timer_us = turn.now_us + turn.plan.timing.acknowledge_us
        turn.put(lane, timer=Timer.ACKNOWLEDGE, timer_us=timer_us)
        _emit_do(turn, lane, node.barrier if at_hand.phase == "arming" else -1)


def _emit_do(turn: Turn, lane: int, barrier: int) -> None:
    at_hand = turn.lane(lane)
    epoch = turn.state.meetings[barrier].epoch if barrier >= 0 else 0
    node = -1 if at_hand.doing is Doing.STAND else live_node(turn, lane)
    move = live_move(turn, lane)
    expires_us = turn.now_us + turn.plan.timing.expiry_us
    turn.emit(SendDo(lane, at_hand.command, node, move, expires_us, barrier, epoch))
