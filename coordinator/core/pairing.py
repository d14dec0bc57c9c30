"""Give both sides of a paired span one fate: stop together, go back together, pull again together.

Invariants: S1, a span closes only after both sides did all of it since it was last opened; S2, no
side ends a pull that the other never began; S3, when one side of a span fails, the other does not
go on and stops within its stated time; S4, while both pull, their torques stay inside the balance
band, or both hold; S6, after a failure in a span both sides start it over from its opening barrier.
"""

from coordinator.core import recovery
from coordinator.core.events import CommandProgressed
from coordinator.core.holds import begin_hold, hold_party
from coordinator.core.interlocks import ACTIVE_PHASES
from coordinator.core.prompts import LEAVING
from coordinator.core.state import BETWEEN, Doing
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
    opening = turn.plan.barriers[turn.plan.spans[span].opens]
    return opening.next_nodes[opening.lanes.index(lane)]


def is_pulled(turn: Turn, span: int) -> bool:
    """Tell whether what the span began together has ended well on every side, without a fault."""
    return all(
        turn.lane(lane).is_done(first_node(turn, span, lane)) and not turn.lane(lane).fault
        for lane in turn.plan.spans[span].lanes
    )


def waits_for_partner(turn: Turn, lane: int) -> bool:
    """Tell whether a lane inside a span may not go on since the other has failed (S3)."""
    span = open_span(turn, lane)
    if span < 0 or turn.lane(lane).then:
        return False  # A person has sent it on its way out, or to back off.
    return any(
        turn.lane(other).phase in ("faulted", "prompted", "interrupted") or turn.lane(other).then
        for other in turn.plan.spans[span].lanes
        if other != lane
    )


def stop_partners(turn: Turn, span: int, failed: int) -> None:
    """Hold whoever still works inside the span, then decide once they all stand (S3)."""
    for lane in turn.plan.spans[span].lanes:
        at_hand = turn.lane(lane)
        if lane != failed and at_hand.command and not at_hand.hold_us:
            reason = f"{turn.name(failed)} failed: {turn.lane(failed).fault}"
            hold_party(turn, lane, turn.plan.spans[span].stop_us, reason)
    resolve_span(turn, span)


def resolve_span(turn: Turn, span: int) -> None:
    """Decide the common fate once every lane of the span stands."""
    lanes = turn.plan.spans[span].lanes
    if any(turn.lane(lane).command or turn.lane(lane).hold_us for lane in lanes):
        return
    failed = [lane for lane in lanes if turn.lane(lane).phase == "faulted"]
    if not failed:
        return
    stuck = [lane for lane in failed if not recovery.may_retry(turn, lane)]
    if stuck:
        for lane in stuck:
            if turn.state.phase in ACTIVE_PHASES:
                # Once one of them holds the procedure, nobody is asked any more.
                recovery.exhaust(turn, lane)
        return
    if any(turn.lane(lane).prompt for lane in lanes):
        return  # They go back together once the person has answered about the other side.
    rewind(turn, span)


def rewind(turn: Turn, span: int, *, recheck: bool = False) -> None:
    """Take every lane of the span back to its opening barrier, recovering first (S6)."""
    pair = turn.plan.spans[span]
    opening = turn.plan.barriers[pair.opens]
    # Whoever had come to the end already waits there no longer, and no time runs for it.
    for barrier in (pair.opens, pair.closes):
        turn.meet(barrier, "again", deadline_us=0)
    for position, lane in enumerate(pair.lanes):
        done = turn.lane(lane).done & ~(1 << opening.nodes[position])
        for node in pair.nodes[position]:
            done &= ~(1 << node)
        turn.put(lane, done=done)
        at_hand = turn.lane(lane)
        if at_hand.node >= 0 and at_hand.phase in ("faulted", "interrupted", "prompted"):
            recovery.recover(turn, lane, recheck=recheck)
        elif at_hand.phase != "recovering":
            if at_hand.phase != "pending":
                turn.step(lane, "again")
            turn.put(lane, node=BETWEEN, fault="", queue=(), doing=Doing.STEP)
    turn.notify("note", "span_again", f"{pair.name}: both sides go back and start again together")


def watch_balance(turn: Turn, event: CommandProgressed) -> int:
    """Note the highest torque of a pull; return the span if the band is left, else -1 (S4)."""
    if event.torque_nm is None:
        return -1
    lane = turn.lane(event.party)
    peak_nm = max(lane.torque_nm or 0, event.torque_nm)
    if peak_nm != lane.torque_nm:
        turn.put(event.party, torque_nm=peak_nm)
    index = turn.node(lane.node).span
    if index < 0 or turn.plan.spans[index].balance_nm <= 0:
        return -1
    span = turn.plan.spans[index]
    pulling = turn.plan.barriers[span.opens].next_nodes
    both = tuple(turn.lane(i).node for i in span.lanes) == pulling
    known = [turn.lane(i).torque_nm or 0 for i in span.lanes if turn.lane(i).command]
    if not both or len(known) < 2 or max(known) - min(known) <= span.balance_nm:
        return -1
    text = f"{max(known)} N·m against {min(known)} N·m, band {span.balance_nm} N·m"
    turn.notify("warning", "out_of_balance", f"{span.name}: {text}")
    return index


def overdue(turn: Turn, lane: int) -> None:
    """A party did not stop in time: hold the procedure and say so."""
    begin_hold(turn, "hold", f"{turn.name(lane)} did not confirm in time that it stands")
