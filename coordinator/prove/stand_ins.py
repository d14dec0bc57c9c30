"""Say what of a plan may stand for many: faults with one rule, steps that touch nobody else.

Keeps: M3, what is left out behaves as what stands for it.
"""

from dataclasses import replace

from coordinator.core.plan import Node, Plan, Rule
from coordinator.core.state import OpenPrompt
from coordinator.core.turn import Turn
from coordinator.prove.own import Own
from coordinator.sequence.own_properties import moves_of

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


def local_nodes(plan: Plan, own: Own | None = None) -> frozenset[int]:
    """Return steps that touch no other lane: outside spans, and neither in nor next to a zone.

    Nor may they be, or stand next to, what the author's own properties speak of.
    """
    spoken_of = own.visible if own is not None else frozenset()
    if own is not None and own.sees_rechecks:
        return frozenset()
    if any(move.zone >= 0 for one in plan.interlocks for move in one.rechecks):
        return frozenset()
    zoned = {
        index
        for index, node in enumerate(plan.nodes)
        if any(move.zone >= 0 for move in moves_of(node))
    }
    touching = zoned | spoken_of
    local = set()
    for nodes in plan.lanes:
        for place, index in enumerate(nodes):
            around = {index, *nodes[max(0, place - 1) : place + 2]}
            node = plan.nodes[index]
            released = any(index in barrier.next_nodes for barrier in plan.barriers)
            if node.move is not None and node.span < 0 and not released and not around & touching:
                local.add(index)
    return frozenset(local)
