"""Put together what is said of many steps alike: `every bolt is now pulled to ... in round 3`."""

from collections.abc import Hashable, Iterable, Iterator
from dataclasses import dataclass
from typing import Generic, TypeVar

from coordinator.compare.change import listed, numbered
from coordinator.compare.steps import Step

Said_ = TypeVar("Said_", bound=Hashable)


@dataclass(frozen=True, slots=True)
class Group(Generic[Said_]):
    """Steps of one action of which the same is said."""

    said: Said_
    steps: tuple[Step, ...]
    was_at: str
    now_at: str


@dataclass(frozen=True, slots=True)
class Whole:
    """What there is in all, so that `every` can be said."""

    bolts: frozenset[tuple[str, int]]
    """(action, bolt)"""
    rounds: frozenset[tuple[str, int]]
    """(action, round)"""

    @classmethod
    def of(cls, steps: Iterable[Step]) -> "Whole":
        """Return what all these steps are done to."""
        known = tuple(steps)
        return cls(
            frozenset((one.what, one.bolt) for one in known if one.bolt),
            frozenset((one.what, one.round) for one in known if one.round),
        )

    def bolts_phrase(self, steps: tuple[Step, ...]) -> str:
        """Return `bolt 5`, `bolts 1 and 2`, or `every bolt`."""
        first = steps[0]
        chosen = sorted(dict.fromkeys(one.bolt for one in steps if one.bolt))
        everyone = sorted(bolt for action, bolt in self.bolts if action == first.what)
        if len(everyone) > 1 and chosen == everyone:
            return f"every {first.noun}"
        return numbered(first.noun, chosen)

    def rounds_phrase(self, what: str, rounds: Iterable[int]) -> str:
        """Return ` in round 3`, ` in every round`, or nothing."""
        chosen = sorted(dict.fromkeys(one for one in rounds if one))
        everyone = sorted(number for action, number in self.rounds if action == what)
        if not chosen:
            return ""
        if len(everyone) > 1 and chosen == everyone:
            return " in every round"
        return f" in {numbered('round', chosen)}"


def gather(
    told: Iterable[tuple[Step, Said_, str, str]],
) -> Iterator[Group[Said_]]:
    """Yield groups of (step, what is said, place in the first file, in the second)."""
    found: dict[tuple[str, str, Said_], list[tuple[Step, str, str]]] = {}
    for step, said, was_at, now_at in told:
        found.setdefault((step.kind, step.what, said), []).append((step, was_at, now_at))
    for (_, _, said), members in found.items():
        for part in _products(members):
            steps = tuple(step for step, _, _ in part)
            yield Group(said, steps, part[0][1], part[0][2])


def _products(
    members: list[tuple[Step, str, str]],
) -> Iterator[list[tuple[Step, str, str]]]:
    """Split members so that in each part every bolt has the same rounds."""
    rounds_of: dict[int, list[int]] = {}
    for step, _, _ in members:
        rounds_of.setdefault(step.bolt, []).append(step.round)
    parts: dict[tuple[int, ...], list[tuple[Step, str, str]]] = {}
    for member in members:
        rounds = tuple(sorted(dict.fromkeys(rounds_of[member[0].bolt])))
        parts.setdefault(rounds, []).append(member)
    yield from parts.values()


def subject(whole: Whole, steps: tuple[Step, ...]) -> str:
    """Return `pull of bolt 5 in round 3`, or `fore and aft, park`."""
    what = steps[0].what
    rounds = whole.rounds_phrase(what, (one.round for one in steps))
    if steps[0].bolt:
        return f"{what} of {whole.bolts_phrase(steps)}{rounds}"
    names = listed(list(dict.fromkeys(one.phrase for one in steps)))
    return f"{parties(steps)}, {names}{rounds}"


def parties(steps: tuple[Step, ...]) -> str:
    """Return whose steps these are."""
    return listed(list(dict.fromkeys(one.party for one in steps)))
