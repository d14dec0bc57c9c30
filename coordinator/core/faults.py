"""Take in a fault and hand it to whoever decides: the pair inside a span, else the lane alone.

Invariants: P4, no step of a lane fails while a person is being asked about it.
"""

from coordinator.core import commands, pairing, recovery
from coordinator.core.effects import Outcome, WriteRecord
from coordinator.core.holds import hold_party, settled
from coordinator.core.state import (
    DECIDING,
    LEAVING,
    Asked,
    CoreFault,
    Doing,
    Evidence,
    StepPhase,
    Stopped,
    Watch,
)
from coordinator.core.turn import Turn, require


def fail(turn: Turn, lane: int, fault: str, evidence: Evidence = ()) -> None:
    """The lane's live command, or its step, has ended badly: count it and decide what follows."""
    at_hand = turn.lane(lane)
    node = turn.node(at_hand.node)
    at = at_hand.at
    if isinstance(at, Asked):
        require(not at.prompt, "P4", f"{node.name} failed while a person was being asked")
    in_move = at_hand.doing is Doing.MOVE or (isinstance(at, Stopped) and at.in_move)
    is_check = in_move and any(move.is_check for move in at_hand.queue[:1])
    name = f"{at_hand.queue[0].action}, owed before {node.name}" if is_check else node.name
    words = ": ".join((name, fault, *(one for _, one in evidence if isinstance(one, str))))
    turn.notify("warning", "fault", words, party=lane, node=at_hand.node)
    if in_move:
        # A recovery that fails is not recovered from: the attempts count as used up.
        fault = settled(at).fault or ("" if is_check else fault)
    failed = Stopped(StepPhase.FAULTED, fault, evidence, at_hand.owed, in_move=is_check)
    if at_hand.then in LEAVING:  # Who is on its way out stays so, before the same move (R4).
        failed = failed._replace(queue=at_hand.queue, then=at_hand.then)
    if isinstance(at, Stopped):
        turn.step(lane, failed, "again", "fail")
    else:
        turn.step(lane, failed, "fail")
    turn.put_order(lane, at_hand.rest._replace(failing=False), Watch())
    # What could not be checked is no failure of the step: a person is asked, however often (H8).
    failures = 0 if is_check else turn.count_failure(lane, at_hand.node, fault)
    in_recovery = in_move and not is_check
    while in_recovery and failures < recovery.rule_for(turn, at_hand.node, fault).attempts:
        failures = turn.count_failure(lane, at_hand.node, fault)
    decide_fate(turn, lane)


def decide_fate(turn: Turn, lane: int) -> None:
    """Decide about a faulted lane, unless the procedure is on its way to rest anyway."""
    if turn.state.phase not in DECIDING:
        # A restart decides then, with all who have failed in view.
        return
    span = pairing.shared_span(turn, lane)
    if span >= 0:
        pairing.stop_partners(turn, span, lane)
    elif not turn.lane(lane).rest.hold_us:
        # One that was told to hold is decided on once it stands.
        recovery.resolve(turn, lane)


def leave_band(turn: Turn, span: int) -> None:
    """The pair pulled too differently: both hold, the one that fell behind carries the fault.

    Whoever reported last is the one that still rises: its bolt is the good one.
    """
    pair, felt_nm = turn.plan.spans[span], pairing.torques_nm(turn, span)
    behind, *_, ahead = sorted(felt_nm, key=felt_nm.__getitem__)
    told = ", ".join(f"{turn.name(lane)} {nm} N·m" for lane, nm in felt_nm.items())
    told += f", {felt_nm[ahead] - felt_nm[behind]} N·m apart, band {pair.balance_nm} N·m"
    text = f"{pair.name}: {told}; {turn.name(behind)} fell behind"
    turn.notify("warning", "out_of_balance", text, party=behind)
    named = sorted((f"{turn.name(lane)}_torque_nm", float(nm)) for lane, nm in felt_nm.items())
    hold_to_fail(turn, behind, CoreFault.OUT_OF_BALANCE, pair.stop_us, tuple(named))
    pairing.stop_partners(turn, span, behind)


def hold_to_fail(
    turn: Turn, lane: int, fault: CoreFault, within_us: int, evidence: Evidence = ()
) -> None:
    """Hold a lane that still moves; its fault is decided on once it stands."""
    # The fault is set before anybody is told: the partner's hold names it as its reason.
    turn.put_at(lane, turn.lane(lane).at._replace(fault=fault, evidence=evidence))
    hold_party(turn, lane, within_us, f"{turn.node(turn.lane(lane).node).name}: {fault}")
    turn.put_rest(lane, turn.lane(lane).rest._replace(failing=True))


def write_broken_off(turn: Turn, lane: int) -> None:
    """Write that a pull was ended before its end, and for which fault of its own, if for one."""
    at = settled(turn.lane(lane).at)
    outcome: Outcome = "faulted" if at.fault else "interrupted"
    measured = ((name, value) for name, value in at.evidence if not isinstance(value, str))
    write_record(turn, lane, outcome, at.fault, tuple(measured))


def write_record(
    turn: Turn,
    lane: int,
    outcome: Outcome,
    fault: str = "",
    results: tuple[tuple[str, float], ...] = (),
) -> None:
    """Write what the live command of a step that proves something has proved."""
    live = turn.lane(lane).live
    if live is None or live.doing is not Doing.STEP:
        return
    node = commands.live_node(turn, lane)
    if turn.node(node).record is not None:
        attempt = turn.begun(lane, node)
        turn.emit(WriteRecord(lane, live.number, node, attempt, outcome, fault, results))
