"""Ways to spoil a sound sequence, each changing one thing in its plain data."""

from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from hypothesis import strategies as st

from tests.support.sequence_data import Files

Draw = Callable[[st.SearchStrategy[Any]], Any]
UNITS = {" min": " mm", " h": " deg", " ms": " kN", " N.m": " s", " kN.m": " %", " deg": " min"}
"""A unit, and one of another dimension."""
ODD: tuple[Any, ...] = (
    None,
    True,
    0,
    -1,
    3,
    1.5,
    1e308,
    "",
    " ",
    "x",
    "$x",
    "$bolt",
    "park",
    "1 s",
    [],
    {},
    [None],
)
"""Values that hardly ever are what belongs in a place."""
FIGURES = (0, -1, 1e-9, 0.5, 1, 2, 7, 99, 5000, 1e9)
NAMES = ("do", "use", "policy", "barrier", "tool", "ask", "paired_until", "cell", "point")
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
    spoilt = replace(
        files,
        cell=deepcopy(files.cell),
        joint=deepcopy(files.joint),
        sequence=deepcopy(files.sequence),
    )
    kind = draw(st.sampled_from([*OF_SEQUENCES, *OF_ALL, *OF_ALL]))
    data = spoilt.sequence
    if kind in OF_ALL:
        data = draw(st.sampled_from([spoilt.sequence, spoilt.sequence, spoilt.cell, spoilt.joint]))
    done, must = kind(draw, data)
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


def _replace_value(draw: Draw, data: dict[str, Any]) -> Done:
    """Put something else in the place of any value."""
    place = draw(st.sampled_from(list(_entries(data))))
    old, place.holder[place.key] = place.value, draw(st.sampled_from(ODD))
    return f"{place.key} was {old!r}, is {place.value!r}"[:300], False


def _change_figure(draw: Draw, data: dict[str, Any]) -> Done:
    """Make any figure larger, smaller, nothing or less than nothing; its unit stays."""
    found = [place for place in _entries(data) if _figure(place.value) is not None]
    if not found:
        return NOTHING
    place = draw(st.sampled_from(found))
    figure, old = draw(st.sampled_from(FIGURES)), place.value
    _, unit = _figure(old) or (0, "")
    place.holder[place.key] = f"{figure} {unit}" if unit else figure
    return f"{place.key} was {old!r}, is {place.value!r}", False


def _figure(value: Any) -> tuple[float, str] | None:
    """Return the number and the unit of a figure, if it is one."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return value, ""
    words = value.split(" ", 1) if isinstance(value, str) else []
    if len(words) == 2 and words[0].replace(".", "", 1).isdigit():
        return float(words[0]), words[1]
    return None


def _shuffle_list(draw: Draw, data: dict[str, Any]) -> Done:
    """Say an entry of a list twice, or exchange it with the next."""
    found = [place for place in _entries(data) if isinstance(place.holder, list)]
    if not found:
        return NOTHING
    place = draw(st.sampled_from(found))
    if draw(st.booleans()) or place.key + 1 == len(place.holder):
        place.holder.insert(draw(st.integers(0, len(place.holder))), deepcopy(place.value))
        return f"said twice: {place.value}"[:300], False
    place.holder[place.key : place.key + 2] = reversed(place.holder[place.key : place.key + 2])
    return f"exchanged at {place.key}: {place.value}"[:300], False


def _entries(data: Any) -> Iterator[_Place]:
    """Yield every entry of every mapping and list, outermost first."""
    keys = list(data) if isinstance(data, dict) else range(len(data))
    for key in keys:
        yield _Place(data, key)
        if isinstance(data[key], dict | list):
            yield from _entries(data[key])


OF_SEQUENCES = (_drop_barrier, _swap_barriers, _wrong_unit, _unknown_name, _rename_step)
OF_ALL = (_delete_key, _replace_value, _change_figure, _shuffle_list)
