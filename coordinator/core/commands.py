"""Send commands: the only place from which motion leaves, and the one that asks after silence.

Invariants: A1, command numbers grow, so that each is given out once; A2, a command is sent again
only if its party refused it; A5, a command is sent only for a step that has a move; I1, no motion
command leaves while an interlock is active, unknown or too old, unless its step names an exception;
H8, what must be checked again after a hold is made before anything else of that side, or a person
is asked; it is never dropped.
"""

from coordinator.core import interlocks, zones
from coordinator.core.effects import SendAsk, SendDisarm, SendDo, SendMakeReady, SendRelease
from coordinator.core.events import MessagesMissed
from coordinator.core.plan import Move
from coordinator.core.state import (
    ACTIVE,
    LEAVING,
    Command,
    Commanded,
    Doing,
    Pending,
    Recovering,
    Rest,
    StepPhase,
    Timer,
    Watch,
)
from coordinator.core.turn import Turn, require

STAND_BY = Move("stand_by")


def may_send(turn: Turn, lane: int, node: int, move: Move) -> bool:
    """Tell whether a move may leave now: the party is there, interlocks are good, its zone free."""
    unmet = interlocks.unmet_for(turn, node)
    if move is STAND_BY:
        # Standing by moves nothing: only what has tripped keeps it.
        unmet = tuple(i for i in unmet if turn.state.tripped[i])
    at_hand = turn.lane(lane)
    # One told to hold may stand already without our knowing: a command would be refused, or obeyed.
    at_rest = at_hand.rest.held or at_hand.rest.hold_us > 0
    return at_hand.party.online and not at_rest and not unmet and zones.is_free(turn, lane, move)


def live_move(turn: Turn, lane: int) -> Move:
    """Return the move that the lane's live command asks for."""
    at = turn.lane(lane).at
    if isinstance(at, Recovering):
        return at.queue[0]
    if isinstance(at, Commanded) and at.command.doing is Doing.STAND:
        return STAND_BY
    # Asked at every sign of work: looked up here, not by way of `live_node`.
    node = turn.plan.commanded[turn.lane(lane).node]
    move = turn.plan.nodes[node].move
    require(move is not None, "A5", f"node {node} has no move")
    return move or STAND_BY


def live_node(turn: Turn, lane: int) -> int:
    """Return the node that the lane's live command belongs to; at a barrier, the armed step."""
    at_hand = turn.lane(lane)
    if isinstance(at_hand.at, Recovering):
        return at_hand.node
    return turn.plan.commanded[at_hand.node]


def send_step(turn: Turn, lane: int) -> None:
    """Give out a new command for the lane's step; the caller has asked `may_send`."""
    command = Command(turn.next_command(), Doing.STEP)
    turn.step(lane, Commanded(StepPhase.SENT, command), "send")
    _give_out(turn, lane)


def send_move(turn: Turn, lane: int, at: Recovering) -> None:
    """Give out a new command for the first move that is queued; the caller has asked `may_send`."""
    command = Command(turn.next_command(), Doing.MOVE)
    turn.put_at(lane, at._replace(command=command))
    _give_out(turn, lane)


def arm(turn: Turn, lane: int, barrier: int, doing: Doing) -> None:
    """Give out a new command that the party may not begin before the barrier's release."""
    command = Command(turn.next_command(), doing)
    turn.step(lane, Commanded(StepPhase.ARMING, command), "arm")
    _give_out(turn, lane, barrier)


def release(turn: Turn, lane: int, start_us: int) -> None:
    """Start the lane's armed command at `start_us`."""
    move = live_move(turn, lane)
    progress_us, timeout_us = start_us + move.no_progress_us, start_us + move.timeout_us
    turn.put_watch(lane, Watch(Timer.PROGRESS, progress_us, timeout_us))
    # It expires at its own start: heard later it would start one side alone.
    turn.emit(SendRelease(lane, turn.lane(lane).command, start_us, start_us))


def disarm(turn: Turn, lane: int, reason: str) -> None:
    """Forget the lane's armed command; a late answer to it does nothing."""
    at_hand = turn.lane(lane)
    expires_us = turn.now_us + turn.plan.timing.expiry_us
    turn.emit(SendDisarm(lane, at_hand.command, reason, expires_us))
    turn.step(lane, Pending(fault=at_hand.at.fault), "disarm")
    turn.put_watch(lane, Watch())


def see_work(turn: Turn, lane: int) -> None:
    """Note a sign of work on the live command."""
    at_hand = turn.lane(lane)
    # Told to hold, what is waited for is that it stands: signs of work put nothing off.
    if at_hand.rest.hold_us or turn.state.phase not in ACTIVE:
        return
    progress_us = turn.now_us + live_move(turn, lane).no_progress_us
    turn.put_watch(lane, Watch(Timer.PROGRESS, progress_us, at_hand.watch.timeout_us))


def make_ready(turn: Turn, lane: int) -> None:
    """Let a held party take commands again; it answers with ready."""
    timing, at_hand = turn.plan.timing, turn.lane(lane)
    control = turn.next_command()
    watch = Watch(Timer.READY, turn.now_us + timing.acknowledge_us, 0, at_hand.watch.asks)
    held, _, hold_us, failing = at_hand.rest
    turn.put_order(lane, Rest(held, control, hold_us, failing), watch)
    turn.emit(SendMakeReady(lane, control, turn.now_us + timing.expiry_us))


def ask(turn: Turn, lane: int) -> bool:
    """Ask what became of the live command; False once it was asked as often as allowed."""
    watch, timing = turn.lane(lane).watch, turn.plan.timing
    # Bounded: who says nothing three times is a case for a person, not for more messages.
    if watch.asks >= timing.asks:
        return False
    timer_us = turn.now_us + timing.acknowledge_us
    turn.put_watch(lane, watch._replace(asks=watch.asks + 1, timer_us=timer_us))
    turn.emit(SendAsk(lane, turn.lane(lane).command, turn.now_us + timing.expiry_us))
    return True


def ask_early(turn: Turn, event: MessagesMissed) -> None:
    """Tell that messages were lost, and ask what they were about, before any timer does.

    Not counted as an ask: nobody holds because an answer to this one is lost as well.
    """
    lane, expires_us = event.party, turn.now_us + turn.plan.timing.expiry_us
    way = "never reached it" if event.by_party else "never came"
    name = "the floor" if lane < 0 else turn.name(lane)
    turn.notify("warning", "messages_missed", f"{name}: {event.missed} messages {way}", party=lane)
    # Only parties can be asked.
    if lane < 0:
        return  # The floor says all its signals each time.
    if not event.by_party:  # Who tells what it missed has just said how it stands.
        turn.emit(SendAsk(lane, 0, expires_us))
    at_hand = turn.lane(lane)
    if turn.state.phase in ACTIVE and at_hand.command and not at_hand.rest.hold_us:
        turn.emit(SendAsk(lane, at_hand.command, expires_us))


def repeat(turn: Turn, lane: int) -> None:
    """Send the live command again under its own number: the party has said it never came (A2)."""
    at_hand = turn.lane(lane)
    if may_send(turn, lane, live_node(turn, lane), live_move(turn, lane)):
        timer_us = turn.now_us + turn.plan.timing.acknowledge_us
        watch = at_hand.watch._replace(timer=Timer.ACKNOWLEDGE, timer_us=timer_us)
        turn.put_watch(lane, watch)
        is_arming = at_hand.at.phase is StepPhase.ARMING
        _emit_do(turn, lane, turn.node(at_hand.node).barrier if is_arming else -1)


def _give_out(turn: Turn, lane: int, barrier: int = -1) -> None:
    """Lease the zone of the live command's move, set its deadlines, and send it."""
    move = live_move(turn, lane)
    at_hand = turn.lane(lane)
    # Only who was sent away by a person moves before its checks: its tool comes off first.
    owes = (turn.state.acted and turn.plan.parties[lane].is_arm) or at_hand.owed
    is_free = move.is_check or move is STAND_BY or at_hand.then in LEAVING or not owes
    require(is_free, "H8", f"{turn.name(lane)} would make {move.action} before what it owes")
    zones.enter(turn, lane, move)
    acknowledge_us = turn.now_us + turn.plan.timing.acknowledge_us
    # Armed it waits for the others: its time to work begins with the release.
    timeout_us = 0 if barrier >= 0 else turn.now_us + move.timeout_us
    turn.put_watch(lane, Watch(Timer.ACKNOWLEDGE, acknowledge_us, timeout_us))
    _emit_do(turn, lane, barrier)


def _emit_do(turn: Turn, lane: int, barrier: int) -> None:
    at_hand = turn.lane(lane)
    epoch = turn.state.meetings[barrier].epoch if barrier >= 0 else 0
    node = -1 if at_hand.doing is Doing.STAND else live_node(turn, lane)
    move = live_move(turn, lane)
    expires_us = turn.now_us + turn.plan.timing.expiry_us
    turn.emit(SendDo(lane, at_hand.command, node, move, expires_us, barrier, epoch))
