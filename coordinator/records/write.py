"""Turn what a step proved into one row of the record store, verdict included."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from coordinator.core.effects import WriteRecord
from coordinator.core.plan import Plan
from coordinator.records.rows import Run
from coordinator.records.verdict import Evidence, judge
from coordinator.records.windows import Calibrations, Windows
from coordinator.wire.messages import Trace

if TYPE_CHECKING:
    # Judging a record needs no database; importing one takes longer than a rehearsal's start.
    from coordinator.records.store import RecordStore


DAY_LENGTH = len("2030-01-01")


@dataclass(frozen=True, slots=True)
class ToolFacts:
    """What is known of the tool beside the step's own result."""

    trace: Trace
    tool: str
    simulated: bool
    at: str
    """UTC, RFC 3339."""


def to_row(plan: Plan, run: Run, effect: WriteRecord, facts: ToolFacts) -> dict[str, Any] | None:
    """Return the row for a proof, None if the step proves nothing about a bolt."""
    node = plan.nodes[effect.node]
    if node.record is None:
        return None
    results = dict(effect.results)
    trace = facts.trace
    torque_nm = results.get("torque_nm")
    side = plan.parties[effect.party].name
    evidence = Evidence(
        node.record.kind,
        effect.outcome,
        node.record.target_nm,
        torque_nm,
        trace,
        results.get("pressure_pa"),
        results.get("angle_rad"),
        side,
        facts.tool,
        facts.at[:DAY_LENGTH],
    )
    judgement = judge(evidence, *rules_of(run))
    return {
        "run": run.run,
        "joint": run.joint,
        "sequence": run.sequence,
        "side": side,
        "command": effect.command,
        "step": node.name,
        "bolt": node.record.bolt,
        "kind": node.record.kind,
        "round": node.record.round,
        "attempt": effect.attempt,
        "outcome": effect.outcome,
        "fault": effect.fault,
        "target_nm": float(node.record.target_nm),
        "torque_nm": torque_nm,
        "pressure_pa": results.get("pressure_pa"),
        "angle_rad": results.get("angle_rad"),
        "simulated": facts.simulated,
        "tool": f"by hand, {effect.who}" if effect.outcome == "by_hand" else facts.tool,
        "at": facts.at,
        "results": [list(pair) for pair in effect.results],
        "trace_time_s": list(trace.time_s),
        "trace_torque_nm": list(trace.torque_nm),
        "trace_pressure_pa": list(trace.pressure_pa),
        "trace_angle_rad": list(trace.angle_rad),
        "verdict": judgement.verdict.value,
        "reasons": [reason.value for reason in judgement.reasons],
    }


def rules_of(run: Run) -> tuple[Windows, Calibrations | None]:
    """Return what the records of a run are judged by."""
    calibrations = None if run.tools is None else Calibrations(run.tools)
    return run.windows or Windows(run.tolerance), calibrations


def write_proof(
    store: "RecordStore", plan: Plan, run: Run, effect: WriteRecord, facts: ToolFacts
) -> bool:
    """Record a proof; False if it proves nothing or is recorded already."""
    row = to_row(plan, run, effect, facts)
    return row is not None and store.add(row)
