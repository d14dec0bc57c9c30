"""Give both sides of a paired span one fate: stop together, go back together, pull again together.

Invariants: S1, a span closes only after both sides did all of it since it was last opened; S2, no
side ends a pull that the other never began; S3, when one side of a span fails, the other does not
go on and stops within its stated time; S4, while both pull, their torques stay inside the balance
band, or both hold; S6, after a failure in a span both sides start it over from its opening barrier.
"""

from coordinator.core import recovery
from coordinator.core.events import CommandProgressed
from coordinator.core.holds import begin_hold, hold_party
from coordinator.core.state import (
    ACTIVE,
    BETWEEN,
    LEAVING,
    CoreFault,
    Live,
    Pending,
    Recovering,
    Resting,
    StepPhase,
)
from coordinator.core.turn import Turn


def open_span(turn: Turn, lane: int) -> int:
    """Return the paired span that a lane is inside, or -1."""
    at_hand = turn.state.lanes[lane]
    done, closed = at_hand.done, -1
    if at_hand.node >= 0:
        node = turn.plan.nodes[at_hand.node]
        if node.span >= 0 or node.barrier < 0:
            return node.span
        # At a barrier a lane is inside only if that barrier closes the span.
        closed = 1 << at_hand.node
    for span, opening, closing in turn.plan.spans_of[lane]:
        if done & opening and not done & closing and closed & closing:
            return span
    return -1


def shared_span(turn: Turn, lane: int) -> int:
    """Return the span whose fate a lane shares, or -1; who is on its way out shares none."""
    return -1 if turn.lane(lane).then in LEAVING else open_span(turn, lane)


def first_node(turn: Turn, span: int, lane: int) -> int:
    """Return the step that the opening barrier releases in a lane."""
    return turn.plan.first_of[span][lane]


def is_pulled(turn: Turn, span: int) -> bool:
    """Tell whether what the span began together has ended well on every side, without a fault."""
    return all(
        turn.lane(lane).is_done(first_node(turn, span, lane)) and not turn.lane(lane).at.fault
        for lane in turn.plan.spans[span].lanes
    )


def waits_for_partner(turn: Turn, lane: int) -> bool:
    """Tell whether a lane inside a span may not go on since the other has failed (S3)."""
    span = open_span(turn, lane)
    if span < 0 or turn.lane(lane).then:
        return False  # A person has sent it on its way out, or to back off.
    return any(
        isinstance(turn.lane(other).at, Resting) or turn.lane(other).then
        for other in turn.plan.spans[span].lanes
        if other != lane
    )


def stop_partners(turn: Turn, span: int, failed: int) -> None:
    """Hold whoever still works inside the span, then decide once they all stand (S3)."""
    for lane in _inside(turn, span):
        at_hand = turn.lane(lane)
        if lane != failed and at_hand.command and not at_hand.rest.hold_us:
            fault = turn.lane(failed).at.fault or CoreFault.CHECK_OWED
            reason = f"{turn.name(failed)} failed: {fault}"
            hold_party(turn, lane, turn.plan.spans[span].stop_us, reason)
    resolve_span(turn, span)


def resolve_span(turn: Turn, span: int) -> None:
    """Decide the common fate once every lane of the span stands."""
    lanes = _inside(turn, span)
    # One that still moves may yet fail or end well, and the fate of both hangs on that.
    if any(turn.lane(lane).command or turn.lane(lane).rest.hold_us for lane in lanes):
        return
    failed = [lane for lane in lanes if turn.lane(lane).at.phase is StepPhase.FAULTED]
    if not failed:
        return
    # One side that may not go on keeps both: a retry of the other would be a lone pull (S5).
    stuck = [lane for lane in failed if not recovery.may_retry(turn, lane)]
    if stuck:
        for lane in stuck:
            if turn.state.phase in ACTIVE:
                # Once one of them holds the procedure, nobody is asked any more.
                recovery.exhaust(turn, lane)
        return
    if any(turn.lane(lane).prompt for lane in turn.plan.spans[span].lanes):
        return  # They go back together once the person has answered about the other side.
    rewind(turn, span)


def _inside(turn: Turn, span: int) -> tuple[int, ...]:
    """Return who is inside a span; one that went back before it makes what it owes by itself."""
    lanes = turn.plan.spans[span].lanes
    return tuple(lane for lane in lanes if open_span(turn, lane) == span)


def rewind(turn: Turn, span: int, *, recheck: bool = False) -> None:
    """Take every lane of the span back to its opening barrier, recovering first (S6)."""
    pair = turn.plan.spans[span]
    opening = turn.plan.barriers[pair.opens]
    # Whoever had come to the end already waits there no longer, and no time runs for it.
    turn.end_meetings((pair.opens, pair.closes), "again")
    for position, lane in enumerate(pair.lanes):
        done = turn.lane(lane).done & ~(1 << opening.nodes[position])
        # Also what ended well: a bolt pulled while its opposite was not has tilted the flange.
        for node in pair.nodes[position]:
            done &= ~(1 << node)
        at_hand = turn.lane(lane)._replace(done=done)
        turn.put(lane, at_hand)
        if at_hand.node >= 0 and isinstance(at_hand.at, Resting):
            recovery.recover(turn, lane, recheck=recheck)
        elif isinstance(at_hand.at, Pending):
            turn.put(lane, at_hand._replace(at=Pending(), node=BETWEEN))
        elif not isinstance(at_hand.at, Recovering):
            turn.step(lane, Pending(), "again", node=BETWEEN)
    turn.notify("note", "span_again", f"{pair.name}: both sides go back and start again together")


def torques_nm(turn: Turn, span: int) -> dict[int, int]:
    """Return the highest torque of each lane of a span that has a live command."""
    live = {lane: turn.lane(lane).live for lane in turn.plan.spans[span].lanes}
    # Nothing reported yet is no torque: it is the side that lags.
    return {lane: one.torque_nm or 0 for lane, one in live.items() if one is not None}


def watch_balance(turn: Turn, event: CommandProgressed) -> int:
    """Note the highest torque of a pull; return the span if the band is left, else -1 (S4)."""
    lane = turn.lane(event.party)
    at = lane.at
    if event.torque_nm is None or not isinstance(at, Live) or not at.command:
        return -1
    if event.torque_nm > (at.command.torque_nm or 0) or at.command.torque_nm is None:
        # The highest, not the last: a wrench falls back to nothing between two strokes.
        torque_nm = max(event.torque_nm, 0)
        command = at.command._replace(torque_nm=torque_nm)
        turn.put_at(event.party, at._replace(command=command))
    index = turn.node(lane.node).span
    if index < 0 or turn.plan.spans[index].balance_nm <= 0:
        return -1
    span = turn.plan.spans[index]
    # Only while both are at the first step: later ones take the tool off, each in its time.
    pulling = turn.plan.barriers[span.opens].next_nodes
    if tuple(turn.lane(i).node for i in span.lanes) != pulling:
        return -1
    known = tuple(torques_nm(turn, index).values())
    if len(known) < 2 or max(known) - min(known) <= span.balance_nm:
        return -1
    return index


def overdue(turn: Turn, lane: int) -> None:
    """A party did not stop in time: hold the procedure and say so."""
    begin_hold(turn, "hold", f"{turn.name(lane)} did not confirm in time that it stands")
