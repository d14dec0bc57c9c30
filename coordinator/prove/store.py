"""Keep what has been decided: states, what follows from each, and what was seen on the way.

There are millions of states, so each is a few small numbers: what they share is kept once.

Invariants: PV7, every transition is decided by `decide` on a whole state; the graph only remembers.
"""

from array import array
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

from coordinator.prove.local import Local
from coordinator.prove.moves import Node, Step
from coordinator.prove.parts import Look, Parts
from coordinator.prove.pieces import Pieces, Places

_UNDECIDED = -1


class Links:
    """For each state the steps from it: pairs of what it leads to and by which way."""

    __slots__ = ("_data", "_first")

    def __init__(self) -> None:
        self._first = array("q")
        self._data = array("I")

    def put(self, state: int, pairs: Sequence[tuple[int, int]]) -> None:
        """Keep the steps from a state."""
        while len(self._first) <= state:
            self._first.append(_UNDECIDED)
        self._first[state] = len(self._data)
        self._data.append(len(pairs))
        for target, way in pairs:
            self._data.append(target)
            self._data.append(way)

    def is_decided(self, state: int) -> bool:
        """Tell whether the steps from a state have been put."""
        return state < len(self._first) and self._first[state] != _UNDECIDED

    def of(self, state: int) -> Iterator[tuple[int, int]]:
        """Yield (target, way) of each step from a state."""
        if self.is_decided(state):
            first = self._first[state]
            for at in range(first + 1, first + 1 + 2 * self._data[first], 2):
                yield self._data[at], self._data[at + 1]


class Owner(Protocol):
    """Who decides the steps from states of one plan."""

    pieces: Pieces
    local: Local

    def expand(self, graph: "Graph", number: int, places: Places, node: Node) -> None:
        """Decide the steps from a state."""


class Word(NamedTuple):
    """One thing that happened, told apart from the place where it did."""

    lane: int
    text: str
    node: int | None
    """The step at hand, counted from the first of its piece; None where there is none."""
    move: str
    """The action at hand while recovering."""
    is_cause: bool = False
    """Something went wrong by it."""


Words = tuple[Word, ...]


class Way(NamedTuple):
    """How it goes on from a state."""

    words: Words
    """What happens: one thing, and what must follow it (PV17)."""
    is_free: bool
    by_person: bool
    """A person ends the procedure by it."""


class Exit(NamedTuple):
    """What steps lead to that lead to other places."""

    owner: "Owner"
    """Whose plan `node` and `places` are of."""
    shift: tuple[int, ...] | None
    """How many pieces each lane has gone on; None where it goes anywhere else."""
    look: Look
    node: Node
    """The state that it leads to; where it may lead anywhere the state that it leads from."""
    places: Places
    """Where `node` stands."""
    steps: tuple[Step, ...]


class Notes(NamedTuple):
    """What was seen when the steps from a state were decided."""

    sent: frozenset[tuple[int, int]] = frozenset()
    """(lane, step counted from the first of its piece)"""
    done: frozenset[tuple[int, ...]] = frozenset()
    """For each lane what is done of its piece, after steps that finish something."""
    asked: frozenset[int] = frozenset()
    """Kinds of prompt."""


@dataclass(frozen=True, slots=True)
class Break:
    """A property that a step from a state breaks."""

    property: str
    text: str
    words: Words


@dataclass(slots=True)
class Store:
    """What has been decided about plans of one cell; what is alike in several is decided once."""

    kinds: dict[object, int] = field(default_factory=dict)
    graphs: dict[int, "Graph"] = field(default_factory=dict)
    parts: Parts[object] = field(default_factory=Parts)
    """Of what the looks of states are made."""
    ways: Parts[Way] = field(default_factory=Parts)
    notes: Parts[Notes] = field(default_factory=Parts)

    def graph(self, kind: int) -> "Graph":
        """Return the graph of places of one kind."""
        known = self.graphs.get(kind)
        if known is None:
            known = self.graphs[kind] = Graph(self.ways, self.notes)
        return known


@dataclass(slots=True)
class Graph:
    """All states seen at places of one kind."""

    _ways: Parts[Way]
    _all_notes: Parts[Notes]
    numbers: dict[Look, int] = field(default_factory=dict)
    waiting: dict[int, tuple["Owner", Places, Node]] = field(default_factory=dict)
    """Whose plan, where in it, and the state, until all steps from it are decided."""
    phases: list[str] = field(default_factory=list)
    gone: list[Exit] = field(default_factory=list)
    breaks: dict[int, list[Break]] = field(default_factory=dict)
    _gone_numbers: dict[object, int] = field(default_factory=dict)
    _edges: Links = field(default_factory=Links)
    _exits: Links = field(default_factory=Links)
    _notes: "array[int]" = field(default_factory=lambda: array("I"))

    def take_in(self, look: Look, phase: str) -> int:
        """Give a new state the next number."""
        number = self.numbers[look] = len(self.phases)
        self.phases.append(phase)
        self._notes.append(0)
        return number

    def is_decided(self, number: int) -> bool:
        """Tell whether the steps from a state have been decided."""
        return self._edges.is_decided(number)

    def put(
        self,
        number: int,
        edges: Sequence[tuple[int, Way]],
        exits: Sequence[tuple[int, Way]],
        notes: Notes,
    ) -> None:
        """Keep the steps from a state, and what was seen of them."""
        ways = self._ways
        self._edges.put(number, [(target, ways.number(way)) for target, way in edges])
        if exits:
            self._exits.put(number, [(gone, ways.number(way)) for gone, way in exits])
        self._notes[number] = 1 + self._all_notes.number(notes)
        self.waiting.pop(number)

    def exit_to(self, key: object, gone: Exit) -> int:
        """Return the number of what leads elsewhere; of equal keys the first is kept."""
        known = self._gone_numbers.get(key)
        if known is None:
            known = self._gone_numbers[key] = len(self.gone)
            self.gone.append(gone)
        return known

    def edges(self, number: int) -> Iterator[tuple[int, Way]]:
        """Yield (state, way) of each step that stays at the places."""
        ways = self._ways.values
        return ((target, ways[way]) for target, way in self._edges.of(number))

    def exits(self, number: int) -> Iterator[tuple[int, Way]]:
        """Yield (which of `gone`, way) of each step that leads to other places."""
        ways = self._ways.values
        return ((gone, ways[way]) for gone, way in self._exits.of(number))

    def notes(self, number: int) -> Notes:
        """Return what was seen when the steps from a state were decided."""
        return self._all_notes.values[self._notes[number] - 1] if self._notes[number] else Notes()

    def all_notes(self, numbers: Iterable[int]) -> list[Notes]:
        """Return the different notes of some states, in the order of their numbers."""
        found = sorted({self._notes[number] for number in numbers} - {0})
        return [self._all_notes.values[one - 1] for one in found]
