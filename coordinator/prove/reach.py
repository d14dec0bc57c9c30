"""Find every state that can be reached at some places from the states in which they are entered.

Units: `steps` count steps of the world from the start, or from the first entry of the places.
"""

from array import array
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from coordinator.prove.canonical import ENDING
from coordinator.prove.graph import Expander
from coordinator.prove.pieces import Places
from coordinator.prove.store import Graph, Notes, Words

_TOLD_EVERY = 1_000


class Came(NamedTuple):
    """How a state in which places are entered came about first."""

    steps: int
    places: Places | None
    """The places before; None at the start."""
    number: int
    """The state there, in its graph."""
    words: Words
    """What led from it."""


class Leaving(NamedTuple):
    """The soonest way to what leads to other places."""

    gone: int
    """Which of the graph's `gone`."""
    steps: int
    """From the first entry to behind it."""
    number: int
    """The state from which it leads."""
    words: Words


@dataclass(frozen=True, slots=True)
class Reach:
    """What is reached at places of one kind from some states of theirs."""

    order: "array[int]"
    """The states in the order of coming."""
    steps: "array[int]"
    """For each state the steps from the first entry; -1 where it is not reached."""
    leaving: tuple[Leaving, ...]
    depth: int
    stands_for: int
    """States; those on the way to an early end not counted."""
    notes: tuple[Notes, ...]
    breaks: tuple[int, ...]
    """States from which a step breaks a property."""


@dataclass(slots=True)
class Walk:
    """Every place that was entered, in order, and how."""

    entries: dict[Places, dict[int, Came]] = field(default_factory=dict)
    """For each place the states in which it is entered, and how each came about first."""
    reached: dict[Places, Reach] = field(default_factory=dict)
    bases: dict[Places, int] = field(default_factory=dict)
    """Steps from the start to the first entry of a place."""
    seen: dict[Places, tuple[int, frozenset[tuple[int, int]]]] = field(default_factory=dict)
    """With which entries a place was looked at last."""
    leads: dict[tuple[Places, int], tuple[Places, int]] = field(default_factory=dict)
    """For each place and what leads elsewhere from it: the places and the state there."""


def reach(
    expander: Expander,
    places: Places,
    entries: Iterable[tuple[int, int]],
    states_max: int,
    tell: Callable[[], None] | None = None,
) -> Reach | None:
    """Return all that is reached, or None where there are too many states.

    Args:
        expander: Decides steps that have not been decided.
        places: Any of their kind.
        entries: (state, steps by which it comes later than the first).
        states_max: More states than this are too many.
        tell: Called now and then.
    """
    graph = expander.graph(places)
    order, steps = array("I"), array("i")
    leaving: dict[int, Leaving] = {}
    layers: dict[int, list[int]] = {}
    for number, later in sorted(entries):
        layers.setdefault(later, []).append(number)
    at = 0
    while layers:
        at = min(layers)
        for number in layers.pop(at):
            if number < len(steps) and steps[number] >= 0:
                continue
            if not graph.is_decided(number) and expander.states > states_max:
                return None
            for target, way in expander.edges_of(graph, number):
                layers.setdefault(at + len(way.words), []).append(target)
            if number >= len(steps):
                steps.extend([-1] * (len(graph.phases) - len(steps)))
            steps[number] = at
            order.append(number)
            _leave(leaving, graph, number, at)
            if tell and len(order) % _TOLD_EVERY == 0:
                tell()
    depth = max((steps[number] for number in order), default=0)
    return Reach(
        order,
        steps,
        tuple(leaving.values()),
        depth,
        sum(graph.phases[number] not in ENDING for number in order),
        tuple(graph.all_notes(order)),
        tuple(sorted(one for one in graph.breaks if one < len(steps) and steps[one] >= 0)),
    )


def _leave(leaving: dict[int, Leaving], graph: Graph, number: int, at: int) -> None:
    """Note what leads to other places from a state, where nothing led there sooner."""
    for gone, way in graph.exits(number):
        steps = at + len(way.words)
        if gone not in leaving or steps < leaving[gone].steps:
            leaving[gone] = Leaving(gone, steps, number, way.words)
