"""Count what was met: cells of fault, step and moment; ordered pairs and triples of faults.

A counter of our own, fed from outcomes and never from what the planner meant to do.
"""

from collections import Counter
from collections.abc import Iterable
from itertools import combinations

from coordinator.campaign.running import Effect, Outcome

Cell = tuple[str, str, str]
"""Cause, action, moment."""


class Coverage:
    """What all outcomes so far have met."""

    def __init__(self) -> None:
        """Nothing was met."""
        self.cells: Counter[Cell] = Counter()
        self.missed: Counter[Cell] = Counter()
        """Where a cause was set but never acted."""
        self.pairs: Counter[tuple[str, str]] = Counter()
        self.triples: Counter[tuple[str, str, str]] = Counter()

    def add(self, outcome: Outcome) -> int:
        """Count an outcome; return how many cells, pairs and triples are new."""
        before = len(self.cells) + len(self.pairs) + len(self.triples)
        for effect in outcome.effects:
            kept = self.cells if effect.acted else self.missed
            kept[cell_of(effect)] += 1
        acted = [effect.cause for effect in outcome.effects if effect.acted]
        self.pairs.update(ordered_pairs(acted))
        self.triples.update(ordered_triples(acted))
        return len(self.cells) + len(self.pairs) + len(self.triples) - before


def cell_of(effect: Effect) -> Cell:
    """Return the cell of an effect."""
    return effect.cause, effect.place.action, effect.place.moment


def ordered_pairs(kinds: Iterable[str]) -> Iterable[tuple[str, str]]:
    """Return every two of these in their order."""
    return combinations(kinds, 2)


def ordered_triples(kinds: Iterable[str]) -> Iterable[tuple[str, str, str]]:
    """Return every three of these in their order."""
    return combinations(kinds, 3)
