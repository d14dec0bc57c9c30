"""Say how two cells differ: sides, tools, zones, interlocks, faults, actions, gateway.

Invariants: whatever differs is told, in words of its own or by its place in the file.
"""

from collections.abc import Iterator, Mapping

from coordinator.compare import gateways
from coordinator.compare.change import Change, listed
from coordinator.compare.words import quantity, told_apart
from coordinator.draw.words import plain
from coordinator.sequence.models.cell_model import CellModel

_Path = tuple[str, ...]
_Facts = Mapping[str, object]

_UNORDERED = ("raises", "results", "sockets")
_THINGS = {
    ("sides", "*", "tools"): "{1} now has a {3} | {1} has no {3} any more",
    ("signals",): "the floor now tells {1} | the floor tells no {1} any more",
    ("interlocks",): "interlock {1} is new | there is no interlock {1} any more",
    ("faults",): "fault {1} is new | there is no fault {1} any more",
    ("actions",): "{1} can now be done | {1} can no longer be done",
    ("actions", "*", "takes"): "{1} now takes {3} | {1} no longer takes {3}",
    **gateways.THINGS,
}
"""What is said of a thing that is there in one cell only: when it is new | when it is gone."""
_SENTENCES: dict[_Path, tuple[str, str]] = {
    ("sides", "*", "text"): ("{1} is now described as {now!r}, was {was!r}", "says"),
    ("sides", "*", "tools", "*", "torque_max"): (
        "{1}'s {3} may now pull with {now} at most, was {was}",
        "torque",
    ),
    ("sides", "*", "tools", "*", "sockets"): (
        "{1}'s {3} now has sockets of {now}, was {was}",
        "length",
    ),
    ("sides", "*", "tools", "*", "points"): (
        "the sockets of {1}'s {3} now have {now} points, was {was}",
        "count",
    ),
    ("sides", "*", "tools", "*", "calibrated"): (
        "{1}'s {3} is now calibrated as of {now}, was {was}",
        "day",
    ),
    ("sides", "*", "tools", "*", "calibration_due"): (
        "the calibration of {1}'s {3} now counts until {now}, was {was}",
        "day",
    ),
    ("hoist",): ("the lane of the hoist operator is now {now}, was {was}", "name"),
    ("zones",): ("zones that one arm enters at a time are now {now}, was {was}", "name"),
    ("signals", "*", "text"): ("signal {1} now says {now!r}, was {was!r}", "says"),
    ("signals", "*", "max_age"): ("signal {1} now counts for {now}, was {was}", "time_us"),
    ("signals", "*", "period"): ("signal {1} now comes every {now}, was {was}", "time_us"),
    ("interlocks", "*", "kind"): ("{1} is now of kind {now}, was {was}", "name"),
    ("interlocks", "*", "good_when"): (
        "interlock {1} is now good with signal {now}, was {was}",
        "name",
    ),
    ("interlocks", "*", "cause"): ("the cause of {1} now reads {now!r}, was {was!r}", "says"),
    ("interlocks", "*", "consequence"): (
        "the consequence of {1} now reads {now!r}, was {was!r}",
        "says",
    ),
    ("interlocks", "*", "operator_action"): (
        "what to do at {1} now reads {now!r}, was {was!r}",
        "says",
    ),
    ("faults", "*", "text"): ("fault {1} now means {now!r}, was {was!r}", "says"),
    ("actions", "*", "text"): ("{1} now means {now!r}, was {was!r}", "says"),
    ("actions", "*", "by"): ("{1} is now done by the {now}, was by the {was}", "name"),
    ("actions", "*", "needs"): ("{1} now needs tool {now}, was {was}", "name"),
    ("actions", "*", "takes", "*"): ("{3} of {1} is now of kind {now}, was {was}", "name"),
    ("actions", "*", "raises"): ("{1} may now raise {now}, was {was}", "name"),
    ("actions", "*", "results"): ("{1} now reports {now}, was {was}", "name"),
    ("actions", "*", "timeout"): ("{1} may now last {now}, was {was}", "time_us"),
    ("actions", "*", "no_progress"): (
        "{1} may now go without progress for {now}, was {was}",
        "time_us",
    ),
    ("actions", "*", "on_hold"): ("on a hold {1} must now {now}, was {was}", "name"),
    ("actions", "*", "zone"): ("{1} now enters zone {now}, was {was}", "name"),
    ("actions", "*", "records"): ("{1} is now recorded as {now}, was {was}", "says"),
    ("actions", "*", "recheck"): (
        "before {1} starts over, {now} is now made again, was {was}",
        "name",
    ),
    **gateways.SENTENCES,
}
_TIMES = (
    *("lease", "renew", "acknowledge", "expiry", "lead", "hold"),
    *("timeout", "no_progress", "max_age", "period"),
    *gateways.TIMES,
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
    return {**known, **gateways.tables_of(cell)}


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
    pattern = _pattern(path)[:-1]
    names = [plain(part) for part in path]
    new, _, gone = _THINGS.get(pattern, "{0} {1} is new | {0} {1} is gone").partition(" | ")
    text = (new if is_new else gone).format(*names)
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
    found = _SENTENCES.get(_pattern(path))
    if found is None:
        words = told_apart(now, was, "says")
        return f"{' '.join(names)} is now {words[0]}, was {words[1]}"
    template, kind = found
    words = told_apart(now, was, kind)
    return template.format(*names, now=words[0], was=words[1])


def _pattern(path: _Path) -> _Path:
    """Return a path with the author's names as `*`: every second part below the first."""
    return tuple("*" if place % 2 and len(path) > 1 else part for place, part in enumerate(path))
