"""The skeleton of a plan: in which order its lanes meet; judged by a graph library alone.

Nodes that wait for each other in a ring can never be passed: the core is not asked.
Source: a directed graph has a topological order exactly if it has no cycle; networkx.
"""

import networkx as nx
from hypothesis import strategies as st

from coordinator.core.plan import Barrier, Move, Node, NodeKind, Party, Plan

NAMES = ("one", "two", "three", "four")
Skeleton = tuple[tuple[str, ...], ...]
"""For each lane the barriers that it comes to, in order."""


def is_stuck(plan: Plan) -> bool:
    """Tell whether the barriers of a plan wait for each other in a ring."""
    graph = nx.DiGraph()
    for index, node in enumerate(plan.nodes):
        graph.add_node(_place(index, node))
        graph.add_edges_from(
            (_place(one, plan.nodes[one]), _place(index, node)) for one in node.after
        )
    return not nx.is_directed_acyclic_graph(graph)


def _place(index: int, node: Node) -> tuple[str, int]:
    # All lanes at one barrier are one node: nobody passes it alone.
    return ("barrier", node.barrier) if node.kind is NodeKind.BARRIER else ("node", index)


@st.composite
def skeletons(draw: st.DrawFn) -> Skeleton:
    """Draw two or three lanes; each barrier stands in two of them or more, anywhere."""
    count = draw(st.integers(2, 3))
    names = NAMES[: draw(st.integers(1, len(NAMES)))]
    members = [draw(st.sets(st.integers(0, count - 1), min_size=2, max_size=count)) for _ in names]
    return tuple(
        tuple(
            draw(
                st.permutations(
                    [name for name, inside in zip(names, members, strict=True) if lane in inside]
                )
            )
        )
        for lane in range(count)
    )


def plan_of(skeleton: Skeleton) -> Plan:
    """Return a plan with a step before, between and behind the barriers of every lane."""
    nodes: list[Node] = []
    lanes: list[tuple[int, ...]] = []
    places: dict[tuple[str, int], int] = {}
    known = [name for name in NAMES if any(name in lane for lane in skeleton)]
    for lane, names in enumerate(skeleton):
        first = len(nodes)
        for name in (*(part for one in names for part in ("", one)), ""):
            after = (len(nodes) - 1,) if len(nodes) > first else ()
            if name:
                places[name, lane] = len(nodes)
                at = known.index(name)
                nodes.append(Node(name, lane, NodeKind.BARRIER, after, barrier=at))
            else:
                nodes.append(Node("park", lane, NodeKind.STEP, after, move=Move("park")))
        lanes.append(tuple(range(first, len(nodes))))
    barriers = tuple(_barrier(name, places) for name in known)
    parties = tuple(Party(name) for name in ("fore", "aft", "hoist")[: len(skeleton)])
    return Plan("skeleton", parties, tuple(nodes), tuple(lanes), barriers)


def _barrier(name: str, places: dict[tuple[str, int], int]) -> Barrier:
    inside = tuple(lane for one, lane in places if one == name)
    at = tuple(places[name, lane] for lane in inside)
    return Barrier(name, inside, at, tuple(node + 1 for node in at))


def lanes_of(skeleton: Skeleton) -> str:
    """Return the same lanes as they stand in a sequence file."""
    names = [name for name in NAMES if any(name in lane for lane in skeleton)]
    lines = ["barriers:", *(f"  {name}: {{timeout: 5 min}}" for name in names), "lanes:"]
    for side, barriers in zip(("fore", "aft", "hoist"), skeleton, strict=False):
        if barriers:
            lines += [f"  {side}:", *(f"    - barrier: {one}" for one in barriers)]
    return "\n".join(lines) + "\n"
