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
from coordinator.prove.reach import Reach, Walk

ENDING = ("stopping", "aborting")


class Lost(NamedTuple):
    """A state from which there is no way out."""

    property: str
    text: str
    places: Places
    number: int


def ways_out(expander: Expander, walk: Walk) -> list[Lost]:
    """Return for each of both properties the states that are lost."""
    lost = _lost(expander, walk, "way_to_complete", "complete", ends=False)
    return lost + _lost(expander, walk, "way_to_end", "an end", ends=True)


def _lost(expander: Expander, walk: Walk, name: str, goal: str, *, ends: bool) -> list[Lost]:
    good: dict[Places, frozenset[int]] = {}
    known: dict[object, frozenset[int]] = {}
    order = sorted(walk.reached, key=lambda one: (-sum(place.piece for place in one), one))
    is_growing = True
    while is_growing:
        # Once, unless lanes go back: then what is behind them is not known to be good at first.
        is_growing = False
        for places in order:
            one, graph = walk.reached[places], expander.graph(places)
            ways = _good_exits(graph, walk, places, good, ends=ends)
            key = id(one), ways
            if key not in known:
                known[key] = _backwards(graph, one, ways, ends=ends)
            if known[key] != good.get(places):
                good[places], is_growing = known[key], True
    excused = ENDED if ends else (*ENDED, *ENDING)
    found = []
    for places in order:
        one, graph = walk.reached[places], expander.graph(places)
        for number in one.steps if len(good[places]) < len(one.steps) else ():
            phase = graph.phases[number]
            if number not in good[places] and phase not in excused:
                text = f"from {phase} nothing leads to {goal}"
                found.append(Lost(name, text, places, number))
    return found


def _good_exits(
    graph: Graph, walk: Walk, places: Places, good: Mapping[Places, frozenset[int]], *, ends: bool
) -> frozenset[int]:
    """Return the states that lead freely to other places from which there is a way."""
    found = set()
    for number, index, _ in walk.reached[places].exits:
        gone = graph.exits[number][index]
        if gone.is_free and (ends or not gone.by_person):
            there, target = walk.leads[places, number, index]
            if target in good.get(there, ()):
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
