"""Say how two cells differ: sides, tools, zones, interlocks, faults, actions, gateway.

Invariants: CP1, whatever differs between two files is told, and what means the same is not.
"""

from collections.abc import Iterator, Mapping

from coordinator.compare.change import Change, listed
from coordinator.compare.words import SENTENCES, quantity, sentence, told_apart
from coordinator.draw.words import plain
from coordinator.sequence.models.cell_model import CellModel

_Path = tuple[str, ...]
_Facts = Mapping[str, object]

_UNORDERED = ("raises", "results", "sockets")
_TIMES = (
    *("lease", "renew", "acknowledge", "expiry", "lead", "hold"),
    *("timeout", "no_progress", "max_age", "period"),
    *("every", "alive_max", "stamp_max"),
)


def compare_cells(was: CellModel, now: CellModel) -> tuple[Change, ...]:
    """Return how the second cell differs from the first; none if they mean the same."""
    texts = list(_side_names(was, now))
    before, after = _dump(was), _dump(now)
    # Sides of other names are the same arms, in their order.
    if list(was.sides) != list(now.sides) and set(was.sides) != set(now.sides):
        before["sides"] = dict(zip(now.sides, _table(before["sides"]).values(), strict=True))
    texts += _differences((), before, after)
    return tuple(Change("cell", text) for text in texts)


def _side_names(was: CellModel, now: CellModel) -> Iterator[str]:
    new, old = (list(one.sides) for one in (now, was))
    if new == old:
        return
    if sorted(new) == sorted(old):
        yield f"the sides have changed places: the first is now {new[0]}, was {old[0]}"
    else:
        yield f"the sides are now called {listed(new)}, was {listed(old)}"


def _dump(cell: CellModel) -> dict[str, object]:
    # Names and texts of the whole file mean nothing to what is done.
    known = cell.model_dump(exclude={"cell", "text", "gateway"})
    # Both tables lie at the top, so that a path has the author's names at every second place.
    gateway = {} if cell.gateway is None else cell.gateway.model_dump()
    return {**known, **{f"gateway_{one}": gateway.get(one, {}) for one in ("sources", "signals")}}


def _table(value: object) -> _Facts:
    return value if isinstance(value, dict) else {}


def _differences(path: _Path, was: _Facts, now: _Facts) -> Iterator[str]:
    for key in (*was, *(one for one in now if one not in was)):
        here = (*path, key)
        if key not in was or key not in now:
            yield _one_sided(here, now[key] if key in now else was[key], is_new=key in now)
            continue
        before, after = _ordered(key, was[key]), _ordered(key, now[key])
        if isinstance(before, dict) and isinstance(after, dict):
            yield from _differences(here, before, after)
        elif before != after:
            yield _sentence(here, before, after)


def _ordered(key: str, value: object) -> object:
    return tuple(sorted(value)) if key in _UNORDERED and isinstance(value, tuple) else value


def _one_sided(path: _Path, value: object, *, is_new: bool) -> str:
    kind = _pattern(path).rpartition(".")[0]
    said = SENTENCES["things"].get(kind, {"new": "{0} {1} is new", "gone": "{0} {1} is gone"})
    text = said["new" if is_new else "gone"].format(*[plain(part) for part in path])
    details = _details(value) if is_new else ""
    return f"{text}: {details}" if details else text


def _details(value: object) -> str:
    """Return what a new thing is, in short."""
    if not isinstance(value, dict):
        return ""
    said = [
        f"{plain(key)} {quantity(_ordered(key, one), _kind_of(key))}"
        for key, one in value.items()
        if one not in (None, (), {}, "") and not isinstance(one, dict)
    ]
    return ", ".join(said)


def _kind_of(key: str) -> str:
    if key in _TIMES:
        return "time_us"
    return {"torque_max": "torque", "sockets": "length"}.get(key, "says")


def _sentence(path: _Path, was: object, now: object) -> str:
    names = [plain(part) for part in path]
    if path[0] == "faults" and path[-1] == "alone":
        may = "may now" if now else "may no longer"
        return f"fault {names[1]} {may} be tried again without a person"
    if path[0] == "timing":
        words = told_apart(now, was, "time_us" if path[1] in _TIMES else "count")
        return f"time of the link {names[1]!r} is now {words[0]}, was {words[1]}"
    found = sentence("cell", _pattern(path), now, was, *names)
    if found is None:
        words = told_apart(now, was, "says")
        return f"{' '.join(names)} is now {words[0]}, was {words[1]}"
    return found


def _pattern(path: _Path) -> str:
    """Return a path with the author's names as `*`: every second part below the first."""
    return ".".join("*" if place % 2 and len(path) > 1 else one for place, one in enumerate(path))
