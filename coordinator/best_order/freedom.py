"""Tell which steps of a plan may be done in another order, and make the plan that does so.

A lane is free only inside a stretch between two barriers, and only as far as `after` leaves it so.

Invariants: BO1, what a barrier releases stays the first of its stretch; BO2, a tool is changed
neither before nor after any step that needs a tool, unless it was; BO3, what is done again from an
earlier step on stays in the order in which it is written.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from coordinator.best_order.lane_order import NOWHERE, lay_out
from coordinator.core.plan import NodeKind, Plan
from coordinator.sequence.compiler.own_properties import moves_of
from coordinator.sequence.models.cell_model import CellModel

Orders = Mapping[tuple[int, ...], tuple[int, ...]]
"""For the nodes of each free stretch, in the order of the file, the order to do them in."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """The steps of a lane between two barriers."""

    lane: int
    nodes: tuple[int, ...]
    """In the order in which they are done as the file stands."""
    before: tuple[tuple[int, int], ...]
    """(first, then): whatever the order, the one is done before the other."""

    @property
    def is_free(self) -> bool:
        """Tell whether they may be done in another order."""
        known = set(self.before)
        return any((one, then) not in known for one, then in pairwise(self.nodes))


def stretches(plan: Plan, cell: CellModel) -> tuple[tuple[Stretch, ...], ...]:
    """Return for each lane its stretches: before its first barrier, between two, after its last."""
    places = lay_out(plan)
    ends = (*places.starts[1:], len(places.nodes))
    return tuple(
        _stretches_of(plan, cell, lane, [one for one in places.nodes[begin:end] if one != NOWHERE])
        for lane, (begin, end) in enumerate(zip(places.starts, ends, strict=True))
    )


def free_stretches(plan: Plan, cell: CellModel) -> tuple[Stretch, ...]:
    """Return the stretches in which the order is free."""
    return tuple(one for lane in stretches(plan, cell) for one in lane if one.is_free)


def reordered(plan: Plan, orders: Orders) -> Plan:
    """Return the plan in which steps are done in given orders.

    Args:
        plan: The plan as its file stands.
        orders: For the nodes of a stretch the order in which they are to be done.
    """
    follows = {then: one for order in orders.values() for one, then in pairwise(order)}
    nodes = tuple(
        replace(node, after=tuple(sorted({*node.after, follows[index]})))
        if index in follows
        else node
        for index, node in enumerate(plan.nodes)
    )
    return replace(plan, nodes=nodes)


def _stretches_of(
    plan: Plan, cell: CellModel, lane: int, nodes: Sequence[int]
) -> tuple[Stretch, ...]:
    parts: list[list[int]] = [[]]
    for node in nodes:
        if plan.nodes[node].kind is NodeKind.BARRIER:
            parts.append([])
        else:
            parts[-1].append(node)
    return tuple(Stretch(lane, tuple(part), _before(plan, cell, part)) for part in parts)


def _before(plan: Plan, cell: CellModel, nodes: Sequence[int]) -> tuple[tuple[int, int], ...]:
    """Return every pair of a stretch whose order is fixed, what follows from others too."""
    place = {node: number for number, node in enumerate(nodes)}
    fixed: list[set[int]] = [set() for _ in nodes]
    released = {one for barrier in plan.barriers for one in barrier.next_nodes}
    changes = [_changes_tool(plan, cell, node) for node in nodes]
    needs = [_needs_tool(plan, cell, node) or changes[at] for at, node in enumerate(nodes)]
    for at, node in enumerate(nodes):
        fixed[at] |= {place[one] for one in plan.nodes[node].after if one in place}
        fixed[at] |= {one for one in range(at) if nodes[one] in released}
        fixed[at] |= {
            one for one in range(at) if (changes[one] and needs[at]) or (changes[at] and needs[one])
        }
        for rule in plan.nodes[node].rules:
            if rule.again_from in place:
                for again in range(place[rule.again_from] + 1, at + 1):
                    fixed[again].add(again - 1)
    for at in range(len(nodes)):  # Every predecessor stands further up, so once is enough.
        fixed[at] |= {before for one in tuple(fixed[at]) for before in fixed[one]}
    return tuple(
        (nodes[one], nodes[at]) for at, all_of in enumerate(fixed) for one in sorted(all_of)
    )


def _changes_tool(plan: Plan, cell: CellModel, node: int) -> bool:
    move = plan.nodes[node].move
    action = None if move is None else cell.actions.get(move.action)
    return action is not None and "tool" in action.takes.values()


def _needs_tool(plan: Plan, cell: CellModel, node: int) -> bool:
    actions = (cell.actions.get(move.action) for move in moves_of(plan.nodes[node]))
    return any(one is not None and one.needs is not None for one in actions)
