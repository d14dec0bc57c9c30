"""Take in a fault and hand it to whoever decides: the pair inside a span, else the lane alone.

Invariants: P4, no step of a lane fails while a person is being asked about it.
"""

from typing import Any

from coordinator.core import commands, pairing, recovery
from coordinator.core.effects import Outcome, WriteRecord
from coordinator.core.holds import hold_party, settle_outcome
from coordinator.core.prompts import LEAVING
from coordinator.core.state import Doing
from coordinator.core.turn import Turn, require

DECIDING_PHASES = ("running", "pausing")


def fail(turn: Turn, lane: int, fault: str, evidence: tuple[tuple[str, float], ...] = ()) -> None:
    """The lane's live command, or its step, has ended badly: count it and decide what follows."""
    at_hand = turn.lane(lane)
    node = turn.node(at_hand.node)
    require(not at_hand.prompt, "P4", f"{node.name} failed while a person was being asked")
    turn.notify("warning", "fault", f"{node.name}: {fault}", party=lane, node=at_hand.node)
    final = at_hand.doing is Doing.MOVE
    settle_outcome(turn, lane)
    if final:
        # A recovery that fails is not recovered from: the attempts count as used up.
        fault = turn.lane(lane).fault or fault
    commands.clear(turn, lane)
    rest: dict[str, Any] = {"doing": Doing.STEP, "failing": False}
    if at_hand.then not in LEAVING:  # Who is on its way out stays so, before the same move (R4).
        rest |= {"queue": (), "then": ""}
    turn.step(lane, "fail", fault=fault, evidence=evidence, **rest)
    failures = turn.count(lane, at_hand.node, fault)
    while final and failures < recovery.rule_for(turn, at_hand.node, fault).attempts:
        failures = turn.count(lane, at_hand.node, fault)
    decide_fate(turn, lane)


def decide_fate(turn: Turn, lane: int) -> None:
    """Decide about a faulted lane, unless the procedure is on its way to rest anyway."""
    if turn.state.phase not in DECIDING_PHASES:
        return
    span = pairing.shared_span(turn, lane)
    if span >= 0:
        pairing.stop_partners(turn, span, lane)
    elif not turn.lane(lane).hold_us:
        # One that was told to hold is decided on once it stands.
        recovery.resolve(turn, lane)


def leave_band(turn: Turn, lane: int, span: int) -> None:
    """The pair pulled too differently: both hold, the one that reported last carries the fault."""
    hold_to_fail(turn, lane, "out_of_balance", turn.plan.spans[span].stop_us)
    pairing.stop_partners(turn, span, lane)


def hold_to_fail(turn: Turn, lane: int, fault: str, within_us: int) -> None:
    """Hold a lane that still moves; its fault is decided on once it stands."""
    turn.put(lane, fault=fault, failing=True)
    hold_party(turn, lane, within_us, f"{turn.node(turn.lane(lane).node).name}: {fault}")


def write_record(
    turn: Turn,
    lane: int,
    outcome: Outcome,
    fault: str = "",
    results: tuple[tuple[str, float], ...] = (),
) -> None:
    """Write what the live command of a step that proves something has proved."""
    at_hand = turn.lane(lane)
    node_index = commands.live_node(turn, lane)
    if node_index < 0 or at_hand.doing is not Doing.STEP or turn.node(node_index).record is None:
        return
    attempt = turn.counted(lane, node_index, "")
    turn.emit(WriteRecord(lane, at_hand.command, node_index, attempt, outcome, fault, results))
