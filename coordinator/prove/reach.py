"""Find every state that can be reached at some places from the states in which they are entered.

Units: `steps` count steps of the world from the start, or from the first entry of the places.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from coordinator.prove.graph import Expander
from coordinator.prove.pieces import Places

_TOLD_EVERY = 1_000


class Came(NamedTuple):
    """How a state in which places are entered came about first."""

    steps: int
    places: Places | None
    """The places before; None at the start."""
    number: int
    """The state there, in its graph."""
    exit: int
    """Which of the exits of that state."""


@dataclass(frozen=True, slots=True)
class Reach:
    """What is reached at places of one kind from some states of theirs."""

    steps: dict[int, int]
    """For each state, in the order of coming, the steps from the first entry."""
    exits: tuple[tuple[int, int, int], ...]
    """(state, which of its exits, steps to the state)"""
    depth: int
    sent: frozenset[tuple[int, int]]
    done: frozenset[tuple[int, ...]]
    asked: frozenset[int]
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
    leads: dict[tuple[Places, int, int], tuple[Places, int]] = field(default_factory=dict)
    """For each place, state and exit where it leads: the places and the state there."""


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
    steps: dict[int, int] = {}
    exits: list[tuple[int, int, int]] = []
    layers: dict[int, list[int]] = {}
    for number, later in sorted(entries):
        layers.setdefault(later, []).append(number)
    depth = 0
    while layers:
        at = min(layers)
        following = layers.setdefault(at + 1, [])
        for number in layers.pop(at):
            if number in steps:
                continue
            steps[number] = depth = at
            if graph.edges[number] is None and expander.states > states_max:
                return None
            following += [edge.target for edge in expander.edges_of(graph, number)]
            exits += [(number, index, at) for index in range(len(graph.exits.get(number, ())))]
            if tell and len(steps) % _TOLD_EVERY == 0:
                tell()
        if not following:
            del layers[at + 1]
    return Reach(
        steps,
        tuple(exits),
        depth,
        frozenset(one for number in steps for one in graph.sent.get(number, ())),
        frozenset(one for number in steps for one in graph.done.get(number, ())),
        frozenset(one for number in steps for one in graph.asked.get(number, ())),
        tuple(number for number in steps if number in graph.breaks),
    )
