"""Decide which nodes are done whenever a given node begins, over all lanes and their barriers.

What lanes do at the same time counts as done neither before nor after.
"""

from collections.abc import Sequence
from graphlib import CycleError, TopologicalSorter

from coordinator.core.plan import Node
from coordinator.sequence.compiler.barriers import Meetings


class Ahead:
    """The order that a sequence forces on its nodes."""

    def __init__(self, before: dict[int, int], order: tuple[int, ...]) -> None:
        """Keep, for each node, the nodes done before it as bits, and one order that suits all."""
        self._before = before
        self.order = order

    def is_before(self, node: int, other: int) -> bool:
        """Return whether `node` is done whenever `other` begins."""
        return bool(self._before[other] >> node & 1)


def look_ahead(nodes: Sequence[Node], met: Meetings) -> Ahead | None:
    """Return the order of all nodes, or None where nodes wait for each other in a ring."""
    together: dict[int, list[int]] = {}
    for node, barrier in met.barrier_of.items():
        together.setdefault(barrier, []).append(node)
    waits = {
        index: tuple(
            earlier
            for one in together.get(met.barrier_of.get(index, -1), [index])
            for earlier in nodes[one].after
        )
        for index in range(len(nodes))
    }
    try:
        order = tuple(TopologicalSorter(waits).static_order())
    except CycleError:
        return None  # Told already, with its lines.
    before: dict[int, int] = {}
    for index in order:
        before[index] = 0
        for earlier in waits[index]:
            before[index] |= before[earlier] | 1 << earlier
    return Ahead(before, order)
