"""Find the states from which there is no way to complete, or to any end, with nothing going wrong.

Invariants: PV21, a way may use what people do, except ending the procedure, to get to complete, and
that too to get to an end, but never a cause.
Source: backward reachability; Clarke, Grumberg, Peled, Model Checking, 1999, chapter 4.
"""

from typing import NamedTuple

from coordinator.core.state import ENDED
from coordinator.prove.graph import Expander
from coordinator.prove.pieces import Places
from coordinator.prove.reach import Reach, Walk
from coordinator.prove.store import Graph

WAYS = ("way_to_complete", "way_to_end")
"""Both properties."""
_ENDING = ("stopping", "aborting")
_AT_WORK = ("running", "pausing", "restarting")
"""Whoever is at work can be stopped at any time; the walk leaves that out."""


class Lost(NamedTuple):
    """A state from which there is no way out."""

    property: str
    text: str
    places: Places
    number: int


def goals_of(*, ends: bool) -> tuple[str, ...]:
    """Return the phases that a way out must lead to: any end, or complete alone."""
    return ENDED if ends else ("complete",)


def excused_of(*, ends: bool) -> tuple[str, ...]:
    """Return the phases that need no way out: where it is over, on its way, or can be stopped."""
    return (*ENDED, *(_AT_WORK if ends else _ENDING))


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
            ways = frozenset(
                gone
                for gone, *_ in one.leaving
                if walk.leads[places, gone][1] in good.get(walk.leads[places, gone][0], ())
            )
            key = id(one), ways
            if key not in known:
                known[key] = _backwards(graph, one, ways, ends=ends)
            if known[key] != good.get(places):
                good[places], is_growing = known[key], True
    excused = excused_of(ends=ends)
    found = []
    for places in order:
        one, graph = walk.reached[places], expander.graph(places)
        for number in one.order if len(good[places]) < len(one.order) else ():
            phase = graph.phases[number]
            if number not in good[places] and phase not in excused:
                text = f"from {phase} nothing leads to {goal}"
                found.append(Lost(name, text, places, number))
    return found


def _backwards(graph: Graph, one: Reach, ways: frozenset[int], *, ends: bool) -> frozenset[int]:
    """Return every state from which a goal is reached freely, or what leads to a way elsewhere."""
    goals = goals_of(ends=ends)
    into: dict[int, list[int]] = {}
    marked = {number for number in one.order if graph.phases[number] in goals}
    for number in one.order:
        for target, way in graph.edges(number):
            if way.is_free and (ends or not way.by_person):
                into.setdefault(target, []).append(number)
        for gone, way in graph.exits(number):
            if gone in ways and way.is_free and (ends or not way.by_person):
                marked.add(number)
    waiting = sorted(marked)
    while waiting:
        for source in into.get(waiting.pop(), ()):
            if source not in marked:
                marked.add(source)
                waiting.append(source)
    return frozenset(marked)
