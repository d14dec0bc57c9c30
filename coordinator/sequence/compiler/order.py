"""Decide which nodes of a lane must be done before each of its nodes.

A step follows the one above it; with `after` it follows the steps named there instead. A barrier
divides its lane: everything above it is done before it, nothing below starts before it.

Where steps of a lane wait for each other, every step of the ring is told.
"""

from graphlib import CycleError, TopologicalSorter

from coordinator.core.plan import NodeKind
from coordinator.sequence.compiler.barriers import node_kind
from coordinator.sequence.compiler.expand import Input, Item
from coordinator.sequence.models.sequence_model import DoStep, PointStep

_Named = DoStep | PointStep

Ids = dict[tuple[int, str], int]
"""Node of each id within one unfolded list."""


def step_ids(given: Input, items: tuple[Item, ...]) -> Ids:
    """Return the node of every id; tells of an id that one list gives twice."""
    ids: Ids = {}
    for node, item in enumerate(items):
        if not isinstance(item.step, _Named) or item.step.id is None:
            continue
        key = (item.place.group, item.step.id)
        if key in ids:
            what = f"id {item.step.id!r} is given twice in one list"
            must = "must be given once"
            given.tell((*item.trail, "id"), "SEQ010", what, must, "rename one of them")
        ids.setdefault(key, node)
    return ids


def known_ids(ids: Ids, group: int) -> list[str]:
    """Return the ids of one list."""
    return [name for number, name in ids if number == group]


def predecessors(given: Input, items: tuple[Item, ...], ids: Ids) -> tuple[tuple[int, ...], ...]:
    """Return, for each node, the nodes of its lane that must be done before."""
    after: list[tuple[int, ...]] = []
    barrier: dict[int, int] = {}
    for node, item in enumerate(items):
        last = barrier.get(item.lane, -1)
        if node_kind(item) is NodeKind.BARRIER:
            after.append(_loose_ends(items, after, node, last))
            barrier[item.lane] = node
        else:
            after.append(_before_step(given, items, ids, node, last))
    _check_ring(given, items, after)
    return tuple(after)


def _before_step(
    given: Input, items: tuple[Item, ...], ids: Ids, node: int, barrier: int
) -> tuple[int, ...]:
    item = items[node]
    if not isinstance(item.step, _Named) or item.step.after is None:
        is_first = node == 0 or items[node - 1].lane != item.lane
        return () if is_first else (node - 1,)
    named = []
    for number, name in enumerate(item.step.after):
        found = ids.get((item.place.group, name))
        here, known = (*item.trail, "after", number), known_ids(ids, item.place.group)
        given.knows(here, "SEQ032", "id", name, known, of="ids of the same list")
        if found is not None and found > barrier:
            named.append(found)
    # What stands above the barrier is done anyway once the barrier is passed.
    return tuple(sorted(named)) or ((barrier,) if barrier >= 0 else ())


def _loose_ends(
    items: tuple[Item, ...], after: list[tuple[int, ...]], node: int, barrier: int
) -> tuple[int, ...]:
    """Return the steps since the last barrier that no other step of that stretch follows."""
    lane = items[node].lane
    first = next(number for number, item in enumerate(items) if item.lane == lane)
    stretch = range(max(barrier, first - 1) + 1, node)
    followed = {done: True for number in stretch for done in after[number]}
    ends = tuple(number for number in stretch if number not in followed)
    return ends or ((barrier,) if barrier >= 0 else ())


def _check_ring(given: Input, items: tuple[Item, ...], after: list[tuple[int, ...]]) -> None:
    try:
        TopologicalSorter(dict(enumerate(after))).prepare()
    except CycleError as error:
        ring: list[int] = error.args[1][:-1]
        lines = [str(given.document.place(items[node].trail)[0]) for node in ring]
        what = f"steps of lines {', '.join(lines)} wait for each other"
        at = next((node for node in ring if isinstance(items[node].step, _Named)), ring[0])
        given.tell((*items[at].trail, "after"), "SEQ046", what)
