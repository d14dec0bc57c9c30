"""Lay each lane out in the one order in which it is done, as the guide says.

A step is next when all steps named after it are done; of several, the one that stands first.

No place has the number 0, so that 0 can stand for none.
"""

from dataclasses import dataclass

from coordinator.core.plan import Plan

NOWHERE = -1
"""The end of a lane, where there is no node."""


@dataclass(frozen=True, slots=True)
class Places:
    """Every node of a plan, lane by lane, in the order in which it comes, and an end for each."""

    nodes: tuple[int, ...]
    """The node at each place; the first place is not used."""
    starts: tuple[int, ...]
    """The first place of each lane."""
    of: dict[int, int]
    """The place of each node that is ever reached."""


def lay_out(plan: Plan) -> Places:
    """Return the places; a node that waits for itself has none, and its lane never ends."""
    nodes, starts, of = [NOWHERE], [], {}
    released = {
        node: after
        for barrier in plan.barriers
        for node, after in zip(barrier.nodes, barrier.next_nodes, strict=True)
    }
    for lane in plan.lanes:
        starts.append(len(nodes))
        done: dict[int, None] = {}
        while (found := _next(plan, lane, done, released.get(nodes[-1], NOWHERE))) != NOWHERE:
            done[found] = None
            of[found] = len(nodes)
            nodes.append(found)
        # A lane that is stuck stands before what never becomes its turn, and so has no end.
        nodes.append(next((one for one in lane if one not in done), NOWHERE))
    return Places(tuple(nodes), tuple(starts), of)


def _next(plan: Plan, lane: tuple[int, ...], done: dict[int, None], released: int) -> int:
    """Return the node that comes next: what the barrier just passed releases, else the first."""
    if released in lane and released not in done:
        return released
    for node in lane:
        if node not in done and all(before in done for before in plan.nodes[node].after):
            return node
    return NOWHERE
