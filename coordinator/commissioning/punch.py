"""Draw up the punch list from the book: opened by failed checks, closed by passed re-checks.

Invariants: CM20, nobody opens or closes a punch item by hand; each names the entries that did.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from coordinator.commissioning.book import Entry
from coordinator.commissioning.matrix_sheet import TICKED
from coordinator.commissioning.promotion import ACCEPTANCE, RUN
from coordinator.wire.topics import FLOOR


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to be put right."""

    number: int
    what: str
    found: str
    """What the check said."""
    opened: str
    """When, and the entry."""
    closed: str = ""
    """When, and the entry; empty while it is open."""

    @property
    def is_open(self) -> bool:
        """Tell whether it is still to be put right."""
        return not self.closed


@dataclass(frozen=True, slots=True)
class _Check:
    """One check as an entry shows it."""

    what: str
    is_good: bool
    found: str


def punch_list(book: Sequence[Entry]) -> tuple[Item, ...]:
    """Return every item in the order in which they were opened."""
    items: list[Item] = []
    standing: dict[str, int] = {}
    for entry in book:
        when = f"{entry.at}, {entry.reference}"
        for check in _checks(entry):
            place = standing.get(check.what)
            if not check.is_good and place is None:
                standing[check.what] = len(items)
                items.append(Item(len(items) + 1, check.what, check.found, when))
            elif check.is_good and place is not None:
                items[place] = replace(items[place], closed=when)
                del standing[check.what]
    return tuple(items)


def _checks(entry: Entry) -> Iterator[_Check]:
    known = {ACCEPTANCE: _of_acceptance, RUN: _of_run, TICKED: _of_matrix}
    if (look := known.get(entry.kind)) is not None:
        yield from look(entry)


def _of_acceptance(entry: Entry) -> Iterator[_Check]:
    body = entry.body
    word = {True: "simulated ", False: "real ", None: ""}[body["simulated"]]
    for line in body["seen"]:
        if line["result"] != "not done":
            what = f"acceptance of {word}{body['party']}: {line['code']} {line['title']}"
            yield _Check(what, line["result"] == "passed", line["text"])


def _of_run(entry: Entry) -> Iterator[_Check]:
    """Yield whether a run with anything real came to its end, and whether shadows were sound."""
    body = entry.body
    stood = ", ".join(f"{name} {word}" for name, word in body["standings"].items())
    if all(word == "simulated" for word in body["standings"].values()):
        return
    is_complete = body["phase"] == "complete"
    found = "" if is_complete else f"run {body['run']} ended {body['phase']}: {body['reason']}"
    yield _Check(f"run of {body['sequence']} with {stood}", is_complete, found)
    for party, one in body["compared"].get("parties", {}).items():
        silent = "" if one["heard_throughout"] else f"silent for {one['silent_s_max']:g} s"
        yield _Check(f"{party} heard throughout", not silent, silent)
        told = "calls itself simulated" if one["called_simulated"] else ""
        yield _Check(f"{party} on the bus is the real one", not told, told)
        moved = "; ".join(one["moved_untold"][:3])
        yield _Check(f"{party} keeps still in shadow", not moved, moved)


def _of_matrix(entry: Entry) -> Iterator[_Check]:
    world = "real" if entry.body["standings"].get(FLOOR) == "real" else "simulated"
    failed = [one["digest"] for one in entry.body["ticks"] if one["result"] == "failed"]
    for tick in entry.body["ticks"]:
        is_good = tick["result"] == "passed"
        if is_good and tick["digest"] in failed:
            continue  # A journal that shows it both ways has not passed it.
        found = "" if is_good else f"{tick['text']}, run {entry.body['run']}"
        yield _Check(f"cause and effect on {world} parties: {tick['cell']}", is_good, found)
