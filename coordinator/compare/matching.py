"""Match the steps of a lane in one plan with those of the same lane in another.

A step that has no match is new or gone.
"""

from dataclasses import dataclass
from difflib import SequenceMatcher

from coordinator.compare.steps import Step


@dataclass(frozen=True, slots=True)
class Pair:
    """The same step in both plans; positions are those in the lanes."""

    was: Step
    now: Step
    was_at: int
    now_at: int
    is_moved: bool = False
    """Whether it stands in another place among the others."""


@dataclass(frozen=True, slots=True)
class Matched:
    """A lane of both plans laid side by side."""

    was: tuple[Step, ...]
    now: tuple[Step, ...]
    pairs: tuple[Pair, ...]
    """In the order of the second plan."""
    gone: tuple[int, ...]
    """Positions in the first plan."""
    new: tuple[int, ...]
    """Positions in the second plan."""


def match(was: tuple[Step, ...], now: tuple[Step, ...]) -> Matched:
    """Match by action, bolt and round, and by order where these come again."""
    before, after = [one.key for one in was], [one.key for one in now]
    pairs: list[Pair] = []
    matcher = SequenceMatcher(None, before, after, autojunk=False)
    for first, second, size in matcher.get_matching_blocks():
        pairs += [
            Pair(was[first + at], now[second + at], first + at, second + at) for at in range(size)
        ]
    left = dict.fromkeys(range(len(was)))
    for pair in pairs:
        left.pop(pair.was_at)
    kept = {pair.now_at: True for pair in pairs}
    waiting: dict[object, list[int]] = {}
    for place in left:
        waiting.setdefault(before[place], []).append(place)
    for place in [one for one in range(len(now)) if one not in kept]:
        if waiting.get(after[place]):
            origin = waiting[after[place]].pop(0)
            pairs.append(Pair(was[origin], now[place], origin, place, is_moved=True))
            left.pop(origin)
            kept[place] = True
    pairs.sort(key=lambda pair: pair.now_at)
    new = tuple(place for place in range(len(now)) if place not in kept)
    return Matched(was, now, tuple(pairs), tuple(left), new)
