"""Say what of a plan may stand for many: faults with one rule, steps that touch nobody else.

Invariants: PV16, what is left out, because another order leads to the same states, behaves as what
stands for it.
"""

from dataclasses import replace

from coordinator.core.plan import Node, Plan, Rule
from coordinator.core.state import OpenPrompt
from coordinator.core.turn import Turn
from coordinator.prove.own import Own
from coordinator.sequence.compiler.own_properties import moves_of

UNRULED = "unruled"
"""Stands for every fault that a step has no rule for."""
NEVER_REPORTED = ("timeout", "out_of_step", "out_of_balance", "silent", "refused")
"""What the core finds by itself."""


def check_torque_nm(turn: Turn, opened: OpenPrompt) -> float | None:
    """Return a check torque that suits everything that the work by hand stands for."""
    span = turn.node(opened.node).span
    nodes: tuple[int, ...] = (opened.node,)
    if span >= 0:
        pair = turn.plan.spans[span]
        nodes = pair.nodes[pair.lanes.index(opened.lane)]
    windows = [
        window
        for index in nodes
        if not turn.lane(opened.lane).is_done(index)
        for window in turn.node(index).windows
        if window.result == "torque_nm"
    ]
    if windows:
        return (max(one.least for one in windows) + min(one.most for one in windows)) / 2
    record = turn.node(opened.node).record
    return record.target_nm if record else None


def alike_faults(node: Node) -> tuple[tuple[str, ...], ...]:
    """Return the faults that a party may report, those with the same rule together."""
    own = {one.fault for one in node.windows}
    groups: dict[object, list[str]] = {}
    for rule in (*node.rules, Rule(UNRULED)):
        if rule.fault not in NEVER_REPORTED and rule.fault not in own:
            groups.setdefault(replace(rule, fault=""), []).append(rule.fault)
    single = [(one,) for one in sorted(own) if any(rule.fault == one for rule in node.rules)]
    return (*(tuple(one) for one in groups.values()), *single)


def touching_nodes(plan: Plan, own: Own | None = None) -> frozenset[int]:
    """Return what may touch another lane: in a span or a zone that others enter, or no step.

    So does what the author's own properties speak of.
    """
    spoken_of = own.visible if own is not None else frozenset()
    if own is not None and own.sees_rechecks:
        return frozenset(range(len(plan.nodes)))
    if any(move.zone >= 0 for one in plan.interlocks for move in one.rechecks):
        return frozenset(range(len(plan.nodes)))
    users: dict[int, set[int]] = {}
    for lane, nodes in enumerate(plan.lanes):
        for zone in (move.zone for index in nodes for move in moves_of(plan.nodes[index])):
            users.setdefault(zone, set()).add(lane)
    return spoken_of | {
        index
        for index, node in enumerate(plan.nodes)
        if node.move is None
        or node.span >= 0
        or any(move.zone >= 0 and len(users[move.zone]) > 1 for move in moves_of(node))
    }


def local_nodes(plan: Plan, touching: frozenset[int]) -> frozenset[int]:
    """Return steps that touch no other lane, nor does what stands next to them.

    A barrier behind a step makes it touch the others: its end lets them meet. One before it does
    not, once it has begun.
    """
    local = set()
    for nodes in plan.lanes:
        for place, index in enumerate(nodes):
            behind = nodes[place + 1] if place + 1 < len(nodes) else -1
            before = {one for one in nodes[max(0, place - 1) : place] if _is_step(plan, one)}
            if behind >= 0 and not {index, behind, *before} & touching:
                local.add(index)
    return frozenset(local)


def _is_step(plan: Plan, node: int) -> bool:
    return plan.nodes[node].move is not None
