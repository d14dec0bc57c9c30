"""Let parties meet: everybody arms and confirms, then all are released at one start time.

Invariants: B1, nobody is released before everybody at the barrier has armed; B2, nobody passes a
barrier alone: all parties are released at once, with one start; B4, answers to an older arming do
nothing; B5, the starts of a paired span lie inside the window, or the span is started over; B6, a
barrier releases a party only into a step that has a move; B8, refusal or silence by one party at a
barrier disarms all; B9, a barrier that times out names who is missing.
"""

from coordinator.core import commands, faults, interlocks, modes, pairing
from coordinator.core.holds import begin_hold
from coordinator.core.plan import Mode
from coordinator.core.state import (
    AT_BARRIER,
    DECIDING,
    Commanded,
    CoreFault,
    Doing,
    MeetingPhase,
    Pending,
    StepPhase,
    Watch,
)
from coordinator.core.turn import Turn, require


def arrive(turn: Turn, lane: int, barrier: int) -> None:
    """A lane stands at a barrier; the first to come starts the clock."""
    # Once: one that comes later must not give the rest more time.
    if turn.state.meetings[barrier].deadline_us == 0:
        _wait(turn, barrier)
    _arm(turn, barrier)


def missing(turn: Turn, barrier: int) -> tuple[int, ...]:
    """Return the lanes that have not arrived."""
    meeting = turn.plan.barriers[barrier]
    return tuple(
        lane
        for lane, node in zip(meeting.lanes, meeting.nodes, strict=True)
        if turn.lane(lane).node != node or not isinstance(turn.lane(lane).at, Pending)
    )


def confirm(turn: Turn, lane: int, at: Commanded) -> None:
    """A party has confirmed that it is armed; the last to do so releases everybody."""
    turn.step(lane, at._replace(phase=StepPhase.ARMED), "confirm")
    # It has answered: from here on only those that have not are asked and can fall silent.
    turn.put_watch(lane, Watch())
    barrier = turn.node(turn.lane(lane).node).barrier
    meeting = turn.plan.barriers[barrier]
    if turn.state.meetings[barrier].phase is not MeetingPhase.ARMING:
        return  # A hold has outrun the confirmation.
    if all(turn.lane(i).at.phase is StepPhase.ARMED for i in meeting.lanes):
        _release(turn, barrier)


def started(turn: Turn, lane: int, started_us: int) -> None:
    """A party has begun; once all have, the measured window is judged (B5)."""
    barrier = released_barrier(turn, lane)
    if barrier < 0:
        return
    meeting = turn.plan.barriers[barrier]
    starts_us = tuple(
        started_us if party == lane else start
        for party, start in zip(meeting.lanes, turn.state.meetings[barrier].starts_us, strict=True)
    )
    # Starts are judged as the parties measured them; the bus delays each report differently.
    turn.meet(barrier, turn.state.meetings[barrier]._replace(starts_us=starts_us))
    if min(starts_us) < 0:
        return
    turn.end_meeting(barrier, "pass")
    spread_us = max(starts_us) - min(starts_us)
    text = f"{meeting.name}: started {spread_us / 1000:.1f} ms apart"
    if spread_us <= meeting.window_us:
        turn.notify("note", "barrier_passed", text)
        return
    # Outside a span only the record suffers; in one, one side has already pulled alone.
    turn.notify("warning", "out_of_step", f"{text}, window {meeting.window_us / 1000:.1f} ms")
    if meeting.span >= 0:
        _start_over(turn, barrier, lane)


def released_barrier(turn: Turn, lane: int) -> int:
    """Return the barrier that released the lane's live command, its start not yet known, or -1."""
    node = turn.lane(lane).node
    for barrier, meeting in enumerate(turn.state.meetings):
        plan = turn.plan.barriers[barrier]
        if meeting.phase is MeetingPhase.RELEASED and lane in plan.lanes:
            position = plan.lanes.index(lane)
            # By its node and not by the lane alone: a late start never counts for the next barrier.
            if node in (plan.nodes[position], plan.next_nodes[position]):
                return barrier
    return -1


def break_up(turn: Turn, barrier: int, lane: int, why: str) -> None:
    """One party refused or fell silent while arming: disarm everybody and hold (B8)."""
    meeting = turn.plan.barriers[barrier]
    turn.end_meeting(barrier, "break", "again")
    reason = f"barrier {meeting.name}: {turn.name(lane)} {why}"
    for party in meeting.lanes:
        if turn.lane(party).at.phase in AT_BARRIER:
            commands.disarm(turn, party, reason)
    begin_hold(turn, "hold", reason)


def watch(turn: Turn) -> None:
    """Let barriers whose time is over name who is missing (B9)."""
    for barrier in range(len(turn.plan.barriers)):
        # Read afresh: what one barrier leads to may have ended the next.
        meeting = turn.state.meetings[barrier]
        if not 0 < meeting.deadline_us <= turn.now_us:
            continue
        if meeting.phase is MeetingPhase.WAITING:
            _expire(turn, barrier)
        elif meeting.phase is MeetingPhase.RELEASED:
            _miss_start(turn, barrier)


def _arm(turn: Turn, barrier: int) -> None:
    meeting = turn.plan.barriers[barrier]
    if turn.state.meetings[barrier].phase is not MeetingPhase.WAITING or missing(turn, barrier):
        return
    taken = []
    for lane, node in zip(meeting.lanes, meeting.next_nodes, strict=True):
        # All or nobody: one that is armed while another may not be would hold its zone for nothing.
        move = turn.node(node).move if node >= 0 else commands.STAND_BY
        require(move is not None, "B6", f"barrier {meeting.name} is followed by no step")
        if move is None or not commands.may_send(turn, lane, node, move):
            return
        if move.zone >= 0 and move.zone in taken:
            return  # Two cannot begin together in one zone (Z1); the barrier's time will say so.
        taken.append(move.zone)
    # In semi-automatic mode the word of one side must not make the other begin (M1).
    if not all(modes.is_allowed(turn, lane) for lane in meeting.lanes):
        return
    for lane in meeting.lanes:
        modes.use(turn, lane, at_barrier=True)
    # A new epoch for every arming: an answer to the last one still under way counts for nothing.
    now = turn.state.meetings[barrier]
    turn.meet(barrier, now._replace(epoch=now.epoch + 1, deadline_us=0), "arm")
    for lane, node in zip(meeting.lanes, meeting.next_nodes, strict=True):
        commands.arm(turn, lane, barrier, Doing.STAND if node < 0 else Doing.STEP)


def _release(turn: Turn, barrier: int) -> None:
    meeting = turn.plan.barriers[barrier]
    # Asked anew: between arming and the last confirmation an interlock may have acted (I1).
    for lane in meeting.lanes:
        node = commands.live_node(turn, lane)
        if not commands.may_send(turn, lane, node, commands.live_move(turn, lane)):
            break_up(turn, barrier, lane, "may not move")
            return
    # The start lies ahead by more than the bus takes, so that all have heard it by then.
    timing = turn.plan.timing
    start_us = turn.now_us + timing.lead_us
    now = turn.state.meetings[barrier]._replace(
        start_us=start_us,
        deadline_us=start_us + timing.acknowledge_us,
        starts_us=(-1,) * len(meeting.lanes),
    )
    turn.meet(barrier, now, "release")
    for lane, node in zip(meeting.lanes, meeting.next_nodes, strict=True):
        commands.release(turn, lane, start_us)
        _pass(turn, lane, node)


def _pass(turn: Turn, lane: int, node: int) -> None:
    """Take a lane past its barrier, to the armed step if there is one."""
    at_hand = turn.lane(lane)
    if isinstance(at_hand.at, Commanded):
        done = at_hand.done | 1 << at_hand.node
        at = at_hand.at._replace(phase=StepPhase.RUNNING)
        turn.step(lane, at, "release", node=node if node >= 0 else None, done=done)
    if node >= 0:
        turn.count_begin(lane, node)


def _wait(turn: Turn, barrier: int) -> None:
    deadline_us = turn.now_us + turn.plan.barriers[barrier].timeout_us
    turn.meet(barrier, turn.state.meetings[barrier]._replace(deadline_us=deadline_us))


def _expire(turn: Turn, barrier: int) -> None:
    absent = missing(turn, barrier)
    meeting = turn.plan.barriers[barrier]
    if turn.state.mode is not Mode.AUTOMATIC or any(turn.lane(lane).prompt for lane in absent):
        # It waits for a person, who may take the time that is needed.
        _wait(turn, barrier)
        return
    names = ", ".join(turn.name(lane) for lane in absent) or _unmet_words(turn, barrier)
    waited_s = meeting.timeout_us / 1e6
    turn.end_meeting(barrier, "expire")
    reason = f"barrier {meeting.name}: waited {waited_s:.0f} s, missing: {names}"
    begin_hold(turn, "hold", reason)


def _unmet_words(turn: Turn, barrier: int) -> str:
    """Everybody is there and yet nobody may be armed: say what each waits for."""
    meeting, words = turn.plan.barriers[barrier], ["nobody"]
    moves = [turn.node(node).move or commands.STAND_BY for node in meeting.next_nodes if node >= 0]
    gates = [interlocks.unmet_for(turn, node) for node in meeting.next_nodes if node >= 0]
    words += [turn.plan.interlocks[i].name for i in sorted({i for gate in gates for i in gate})]
    for lane in meeting.lanes:
        rest, is_online = turn.lane(lane).rest, turn.lane(lane).party.online
        if not is_online or rest.held or rest.hold_us:
            words.append(f"{turn.name(lane)} is not {'ready' if is_online else 'on the bus'}")
    zones = [move.zone for move in moves if move.zone >= 0]
    for zone in dict.fromkeys(zones):
        if turn.state.zones[zone] not in (-1, *meeting.lanes) or zones.count(zone) > 1:
            words.append(f"zone {turn.plan.zones[zone]} is not free for all of them")
    return "; ".join(words)


def _miss_start(turn: Turn, barrier: int) -> None:
    """Somebody never reported its start: a pair starts over, any others hold."""
    meeting = turn.plan.barriers[barrier]
    starts_us = turn.state.meetings[barrier].starts_us
    late = [lane for lane, start in zip(meeting.lanes, starts_us, strict=True) if start < 0]
    turn.end_meeting(barrier)
    names = ", ".join(turn.name(lane) for lane in late)
    turn.notify("warning", "start_missing", f"{meeting.name}: {names} reported no start")
    if meeting.span >= 0 and late:
        _start_over(turn, barrier, late[0])
    else:
        turn.end_meeting(barrier, "break")
        begin_hold(turn, "hold", f"barrier {meeting.name}: {names} reported no start")


def _start_over(turn: Turn, barrier: int, lane: int) -> None:
    span = turn.plan.barriers[barrier].span
    if turn.state.phase not in DECIDING:
        return  # The run has ended, or everybody goes back on a restart anyway.
    # It still pulls: it is stopped before it is decided about, and its partner with it.
    if turn.lane(lane).command:
        faults.hold_to_fail(turn, lane, CoreFault.OUT_OF_STEP, turn.plan.spans[span].stop_us)
        pairing.stop_partners(turn, span, lane)
    elif isinstance(turn.lane(lane).at, Pending):
        # It has ended well already: the pair's fate is decided as for any other fault.
        first = pairing.first_node(turn, span, lane)
        turn.put(lane, turn.lane(lane)._replace(node=first))
        faults.fail(turn, lane, CoreFault.OUT_OF_STEP)
