"""Hold one change between two files, and say lists of things as people do."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

About = Literal["joint", "cell", "steps", "order", "barriers", "faults", "questions", "properties"]


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that is not as it was."""

    about: About
    text: str
    """A sentence: what is now and what was."""
    was_at: str = ""
    """`file:line` in the first file, if it is a step."""
    now_at: str = ""
    """`file:line` in the second file."""


def listed(words: Sequence[str]) -> str:
    """Join words: `a`, `a and b`, `a, b and c`; `none` for none."""
    if len(words) < 2:
        return words[0] if words else "none"
    return f"{', '.join(words[:-1])} and {words[-1]}"


def numbered(noun: str, numbers: Iterable[int]) -> str:
    """Return `bolt 5` or `bolts 1, 2 and 5`; from three in a row `bolts 1 to 4`."""
    ordered = sorted(dict.fromkeys(numbers))
    if len(ordered) == 1:
        return f"{noun} {ordered[0]}"
    if len(ordered) > 2 and ordered[-1] - ordered[0] == len(ordered) - 1:
        return f"{noun}s {ordered[0]} to {ordered[-1]}"
    return f"{noun}s {listed([str(one) for one in ordered])}"
