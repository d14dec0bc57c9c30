"""Ways to spoil a sound sequence, each changing one thing in its plain data."""

from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from hypothesis import strategies as st

from tests.support.sequence_strategies import Files

Draw = Callable[[st.SearchStrategy[Any]], Any]
UNITS = {" min": " mm", " h": " deg", " ms": " kN", " N.m": " s", " kN.m": " %", " deg": " min"}
"""A unit, and one of another dimension."""
NAMES = ("do", "use", "policy", "barrier", "tool", "ask", "paired_until", "cell", "joint")
"""Keys whose value is the name of something else."""


@dataclass(frozen=True, slots=True)
class Mutation:
    """A spoilt sequence, what was done to it, and whether nobody may accept it."""

    files: Files
    done: str
    must_be_refused: bool


@dataclass(frozen=True, slots=True)
class _Place:
    """One entry of a mapping or list somewhere in the data."""

    holder: Any
    key: Any

    @property
    def value(self) -> Any:
        return self.holder[self.key]


@st.composite
def mutations(draw: Draw, files: Files) -> Mutation:
    """One change of `files`, which stay as they are."""
    spoilt = Files(files.cell, files.joint, deepcopy(files.sequence))
    kinds = [_drop_barrier, _swap_barriers, _wrong_unit, _unknown_name, _delete_key, _rename_step]
    done, must = draw(st.sampled_from(kinds))(draw, spoilt.sequence)
    return Mutation(spoilt, done, must)


Done = tuple[str, bool]
NOTHING: Done = ("nothing", False)


def _drop_barrier(draw: Draw, sequence: dict[str, Any]) -> Done:
    """Take a barrier out of one lane: somebody would wait there for ever, or pass alone."""
    places = [
        _Place(steps, number)
        for steps in sequence["lanes"].values()
        for number, step in enumerate(steps)
        if "barrier" in step
    ]
    if not places:
        return NOTHING
    place = draw(st.sampled_from(places))
    name = place.value["barrier"]
    parties = sum({"barrier": name} in steps for steps in sequence["lanes"].values())
    del place.holder[place.key]
    # Of three parties two may meet without the third; that is another plan, and a sound one.
    return f"dropped barrier {name}", parties == 2


def _swap_barriers(draw: Draw, sequence: dict[str, Any]) -> Done:
    """Let one lane meet two barriers in the other order: each side would wait for the other."""
    pairs = []
    for steps in sequence["lanes"].values():
        numbers = [number for number, step in enumerate(steps) if "barrier" in step]
        pairs += [(steps, first, second) for first, second in pairwise(numbers)]
    if not pairs:
        return NOTHING
    steps, first, second = draw(st.sampled_from(pairs))
    names = steps[first]["barrier"], steps[second]["barrier"]
    steps[first], steps[second] = steps[second], steps[first]
    both = sum(
        all({"barrier": one} in lane for one in names) for lane in sequence["lanes"].values()
    )
    return f"swapped {names}", both >= 2


def _wrong_unit(draw: Draw, sequence: dict[str, Any]) -> Done:
    """Write a quantity in the unit of something else."""
    found = [
        (place, unit)
        for place in _entries(sequence)
        if isinstance(place.value, str) and place.key not in ("text", "caution")
        for unit in UNITS
        if place.value.endswith(unit) and place.value.removesuffix(unit).isdigit()
    ]
    if not found:
        return NOTHING
    place, unit = draw(st.sampled_from(found))
    place.holder[place.key] = place.value.removesuffix(unit) + UNITS[unit]
    return f"{place.key} is now {place.value}", True


def _unknown_name(draw: Draw, sequence: dict[str, Any]) -> Done:
    """Misspell the name of something else."""
    found = [
        place
        for place in _entries(sequence)
        if place.key in NAMES and isinstance(place.value, str) and not place.value.startswith("$")
    ]
    if not found:
        return NOTHING
    place = draw(st.sampled_from(found))
    letter = draw(st.sampled_from(["z", "Z", "\u043e", " ", "$", "é"]))
    at = draw(st.integers(0, len(place.value)))
    place.holder[place.key] = place.value[:at] + letter + place.value[at:]
    return f"{place.key} is now {place.value!r}", True


def _delete_key(draw: Draw, sequence: dict[str, Any]) -> Done:
    """Take out any entry of any mapping."""
    found = [place for place in _entries(sequence) if isinstance(place.holder, dict)]
    place = draw(st.sampled_from(found))
    value = place.holder.pop(place.key)
    return f"deleted {place.key}: {value}"[:200], False


def _rename_step(draw: Draw, sequence: dict[str, Any]) -> Done:
    """Give a step another id, and leave those that name it as they are."""
    found = [place for place in _entries(sequence) if place.key == "id"]
    if not found:
        return NOTHING
    place = draw(st.sampled_from(found))
    old = place.value
    place.holder["id"] = "other_name"
    named = any(place.value == old for place in _entries(sequence))
    return f"renamed step {old}", named


def _entries(data: Any) -> Iterator[_Place]:
    """Yield every entry of every mapping and list, outermost first."""
    keys = list(data) if isinstance(data, dict) else range(len(data))
    for key in keys:
        yield _Place(data, key)
        if isinstance(data[key], dict | list):
            yield from _entries(data[key])
