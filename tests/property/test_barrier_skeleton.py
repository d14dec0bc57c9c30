"""The proof and networkx agree on deadlock: barriers that are met in orders that ring.

The skeleton of a plan is a graph: what comes after what within a lane, and a barrier one node for
all lanes that it joins. Without zones and causes a plan gets stuck if and only if it has a ring.
Source: deadlock as a ring of waiting, Coffman, Elphick, Shoshani, System Deadlocks, 1971.
"""

from itertools import pairwise

import networkx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coordinator.core.plan import Barrier, Move, Node, NodeKind, Party, Plan
from coordinator.prove import Limits, explore
from coordinator.sequence import load
from tests.support.examples import times
from tests.support.sequence_files import SEQUENCES

SHIPPED = sorted(path.stem for path in SEQUENCES.glob("*.yaml"))
Orders = tuple[tuple[str, ...], ...]


def skeleton(plan: Plan) -> "networkx.DiGraph[str]":
    """Return the graph of what waits for what, read off the plan alone."""
    graph: networkx.DiGraph[str] = networkx.DiGraph()

    def name(index: int) -> str:
        barrier = plan.nodes[index].barrier
        return f"barrier {barrier}" if barrier >= 0 else f"node {index}"

    for index, node in enumerate(plan.nodes):
        graph.add_node(name(index))
        graph.add_edges_from((name(before), name(index)) for before in node.after)
    return graph


def met_in(orders: Orders) -> Plan:
    """Return a plan whose lanes meet barriers in these orders, with a step before each.

    A barrier joins every lane that has it; each lane does its nodes one after the other.
    """
    names = sorted({name for order in orders for name in order})
    nodes: list[Node] = []
    lanes: list[tuple[int, ...]] = []
    at: dict[tuple[str, int], int] = {}
    for lane, order in enumerate(orders):
        members: list[int] = []
        for name in order:
            step = Node(f"before {name}", lane, NodeKind.STEP, tuple(members[-1:]), move=Move("go"))
            members.append(len(nodes))
            nodes.append(step)
            at[name, lane] = len(nodes)
            after = tuple(members[-1:])
            members.append(len(nodes))
            nodes.append(Node(name, lane, NodeKind.BARRIER, after, barrier=names.index(name)))
        last = tuple(members[-1:])
        members.append(len(nodes))
        nodes.append(Node("end", lane, NodeKind.STEP, last, move=Move("park")))
        lanes.append(tuple(members))
    barriers = []
    for name in names:
        joined = tuple(lane for lane in range(len(orders)) if (name, lane) in at)
        own = tuple(at[name, lane] for lane in joined)
        # What comes next is begun by itself: the barrier lets its parties stand by.
        barriers.append(Barrier(name, joined, own, (-1,) * len(joined)))
    parties = tuple(Party(f"party {lane}") for lane in range(len(orders)))
    return Plan("drawn", parties, tuple(nodes), tuple(lanes), tuple(barriers))


@st.composite
def orders(draw: st.DrawFn) -> Orders:
    """Draw two or three lanes that meet up to four barriers, each lane in an order of its own."""
    names = ("a", "b", "c", "d")[: draw(st.integers(1, 4))]
    lanes = draw(st.integers(2, 3))
    drawn = [tuple(draw(st.permutations(names))) for _ in range(lanes - 1)]
    # The first lane has all of them, so that each joins at least two.
    kept = [order[: draw(st.integers(1, len(order)))] for order in drawn]
    first = tuple(draw(st.permutations(sorted({name for order in kept for name in order}))))
    return (first, *kept)


@given(orders())
@settings(max_examples=times(60), deadline=None)
def test_a_plan_gets_stuck_if_and_only_if_its_skeleton_has_a_ring(drawn: Orders) -> None:
    """Both look at the same plan, and share no code."""
    plan = met_in(drawn)
    has_ring = not networkx.is_directed_acyclic_graph(skeleton(plan))

    found = explore(plan, Limits(0))

    assert found.is_complete
    assert bool(found.violations) == has_ring, [one.text for one in found.violations]


def test_a_ring_is_found_as_what_it_is() -> None:
    """The oracle can say both: two barriers met crosswise, and the same met alike."""
    crossed, alike = met_in((("a", "b"), ("b", "a"))), met_in((("a", "b"), ("a", "b")))

    assert not networkx.is_directed_acyclic_graph(skeleton(crossed))
    assert networkx.is_directed_acyclic_graph(skeleton(alike))
    assert {one.property for one in explore(crossed, Limits(0)).violations} >= {"way_to_complete"}
    assert explore(alike, Limits(0)).is_proved


@pytest.mark.parametrize("name", SHIPPED)
def test_no_shipped_sequence_has_a_ring(name: str) -> None:
    """And every lane's nodes come in the order in which they are done."""
    plan = load(SEQUENCES / f"{name}.yaml").plan
    graph = skeleton(plan)

    assert networkx.is_directed_acyclic_graph(graph)
    for lane in plan.lanes:
        places = [
            f"barrier {plan.nodes[one].barrier}" if plan.nodes[one].barrier >= 0 else f"node {one}"
            for one in lane
        ]
        assert all(networkx.has_path(graph, *both) for both in pairwise(places))
