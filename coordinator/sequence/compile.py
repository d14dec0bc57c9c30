"""Compile a sequence with its cell and its joint into the plan that the core reads.

Units: as in the plan: microseconds, newton metres, SI.
Invariants: SQ7, the same files give an equal plan, and no plan is made of files with findings.
"""

from dataclasses import dataclass
from datetime import date

from coordinator.core.plan import (
    Interlock,
    Move,
    Node,
    Party,
    Plan,
    Signal,
    Timing,
)
from coordinator.sequence.compiler.barriers import Meetings, meetings
from coordinator.sequence.compiler.expand import Input, Item, unfold
from coordinator.sequence.compiler.nodes import build_nodes
from coordinator.sequence.compiler.own_properties import OwnProperty, PropertyMaker
from coordinator.sequence.compiler.points import check_questions, check_ways_on, plan_prompts
from coordinator.sequence.models.cell_model import CellModel, TimingModel
from coordinator.sequence.rules.ahead import look_ahead
from coordinator.sequence.rules.bolts import check_bolts
from coordinator.sequence.rules.declared import check_declared
from coordinator.sequence.rules.pulls import check_pulls
from coordinator.sequence.rules.put_in import check_put_in
from coordinator.sequence.rules.surroundings import check_brought, check_zones
from coordinator.sequence.rules.tools import check_tools
from coordinator.sequence.rules.windows import check_windows


@dataclass(frozen=True, slots=True)
class Compiled:
    """The plan, and what its author wants proved of it."""

    plan: Plan
    properties: tuple[OwnProperty, ...]


def compile_plan(given: Input, *, digest: str, today: date | None = None) -> Compiled:
    """Return the plan and its author's own properties.

    Args:
        given: The three files, valid in form.
        digest: SHA-256 over the files.
        today: Day on which calibrations must still count; None leaves them unjudged.

    Raises:
        SequenceError: With every finding.
    """
    check_declared(given)
    check_questions(given)
    lanes = unfold(given)
    items = tuple(item for lane in lanes for item in lane)
    met = meetings(given, items)
    nodes, built = build_nodes(given, items, met)
    check_tools(given, built)
    check_pulls(given, built, met, today)
    check_windows(given, built)
    check_ways_on(given, nodes)
    properties = PropertyMaker(given, nodes).properties()
    ahead = look_ahead(nodes, met) if met.is_sound else None
    if ahead is not None:
        check_bolts(given, built, ahead)
        check_put_in(given, built, ahead)
        check_brought(given, built, ahead)
        check_zones(given, built, ahead)
    given.findings.raise_if_any()
    return Compiled(_plan(given, lanes, nodes, met, digest), properties)


def _plan(
    given: Input,
    lanes: tuple[tuple[Item, ...], ...],
    nodes: tuple[Node, ...],
    met: Meetings,
    digest: str,
) -> Plan:
    starts = [sum(len(lane) for lane in lanes[:number]) for number in range(len(lanes))]
    return Plan(
        name=given.sequence.sequence,
        parties=_parties(given.cell),
        nodes=nodes,
        lanes=tuple(
            tuple(range(start, start + len(lane)))
            for start, lane in zip(starts, lanes, strict=True)
        ),
        barriers=met.barriers,
        spans=met.spans,
        interlocks=_interlocks(given.cell),
        signals=tuple(Signal(name, one.max_age) for name, one in given.cell.signals.items()),
        zones=given.cell.zones,
        prompts=plan_prompts(given),
        timing=_timing(given.cell.timing),
        digest=digest,
    )


def _parties(cell: CellModel) -> tuple[Party, ...]:
    hoist = (Party(cell.hoist, is_arm=False),) if cell.hoist else ()
    return (*(Party(name) for name in cell.sides), *hoist)


def _interlocks(cell: CellModel) -> tuple[Interlock, ...]:
    signals, actions = list(cell.signals), cell.actions
    return tuple(
        Interlock(
            name=name,
            signal=signals.index(one.good_when),
            kind=one.core_kind,
            cause=one.cause,
            consequence=one.consequence,
            operator_action=one.operator_action,
            override_us=one.override or 0,
            rechecks=tuple(
                Move(
                    again,
                    timeout_us=actions[again].timeout,
                    no_progress_us=actions[again].no_progress,
                    on_hold=actions[again].on_hold,
                )
                for again in one.recheck
                if again in actions
            ),
        )
        for name, one in cell.interlocks.items()
    )


def _timing(model: TimingModel) -> Timing:
    return Timing(
        lease_us=model.lease,
        renew_us=model.renew,
        acknowledge_us=model.acknowledge,
        asks=model.asks,
        expiry_us=model.expiry,
        lead_us=model.lead,
        hold_us=model.hold,
    )
