"""Give small numbers to things that many states share, equal ones to equal things.

Invariants: PV9, equal numbers are given to equal things alone.
"""

from typing import Generic, TypeVar

_T = TypeVar("_T")
Look = tuple[int, ...]
"""What a state looks like from its places: numbers of its lanes' looks, and of all the rest."""


class Parts(Generic[_T]):
    """Numbers for things, equal ones for equal things."""

    __slots__ = ("_numbers", "values")

    def __init__(self) -> None:
        self._numbers: dict[_T, int] = {}
        self.values: list[_T] = []
        """The things, by their numbers."""

    def number(self, value: _T) -> int:
        """Return the number of a thing; a new one is given the next."""
        known = self._numbers.get(value)
        if known is None:
            known = self._numbers[value] = len(self.values)
            self.values.append(value)
        return known
