"""Find the states from which there is no way to complete, or to any end, with nothing going wrong.

Keeps: W1, a way may use what people do, except ending the procedure, to get to complete; to get to
an end it may use that too; it never uses a cause.
Source: backward reachability; Clarke, Grumberg, Peled, Model Checking, 1999, chapter 4.
"""

from collections.abc import Mapping
from typing import NamedTuple

from coordinator.prove.graph import Expander, Graph
from coordinator.prove.moves import ENDED
from coordinator.prove.pieces import Places
from coordinator.prove.reach import Reach

ENDING = ("stopping", "aborting")


class Lost(NamedTuple):
    """A state from which there is no way out."""

    property: str
    text: str
    places: Places
    number: int


def ways_out(expander: Expander, reached: Mapping[Places, Reach]) -> list[Lost]:
    """Return for each of both properties the states that are lost, at the places furthest back."""
    lost = _lost(expander, reached, "way_to_complete", "complete", ends=False)
    return lost + _lost(expander, reached, "way_to_end", "an end", ends=True)


def _lost(
    expander: Expander, reached: Mapping[Places, Reach], name: str, goal: str, *, ends: bool
) -> list[Lost]:
    good: dict[Places, frozenset[int]] = {}
    known: dict[object, frozenset[int]] = {}
    found = []
    excused = ENDED if ends else (*ENDED, *ENDING)
    for places in sorted(reached, key=lambda one: (-sum(one), one)):
        one, graph = reached[places], expander.graph(places)
        ways = _good_exits(expander, places, one, good, ends=ends)
        key = id(one), ways
        if key not in known:
            known[key] = _backwards(graph, one, ways, ends=ends)
        good[places] = known[key]
        if len(good[places]) == len(one.steps):
            continue
        for number in one.steps:
            phase = graph.phases[number]
            if number not in good[places] and phase not in excused:
                text = f"from {phase} nothing leads to {goal}"
                found.append(Lost(name, text, places, number))
    return found


def _good_exits(
    expander: Expander,
    places: Places,
    one: Reach,
    good: Mapping[Places, frozenset[int]],
    *,
    ends: bool,
) -> frozenset[int]:
    """Return the states that lead freely to other places from which there is a way."""
    graph = expander.graph(places)
    found = set()
    for number, index, _ in one.exits:
        gone = graph.exits[number][index]
        if gone.is_free and (ends or not gone.by_person):
            there = tuple(a + b for a, b in zip(places, gone.shift, strict=True))
            if expander.graph(there).numbers[gone.look] in good.get(there, ()):
                found.add(number)
    return frozenset(found)


def _backwards(graph: Graph, one: Reach, ways: frozenset[int], *, ends: bool) -> frozenset[int]:
    """Return every state reached here from which a goal or a good exit is reached freely."""
    goals = ENDED if ends else ("complete",)
    into: dict[int, list[int]] = {}
    for number in one.steps:
        for edge in graph.edges[number] or ():
            if edge.is_free and (ends or not edge.by_person):
                into.setdefault(edge.target, []).append(number)
    marked = set(ways) | {number for number in one.steps if graph.phases[number] in goals}
    waiting = sorted(marked)
    while waiting:
        for source in into.get(waiting.pop(), ()):
            if source not in marked:
                marked.add(source)
                waiting.append(source)
    return frozenset(marked)
