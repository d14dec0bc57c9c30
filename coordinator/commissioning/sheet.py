"""Fold the book into the point-check sheet: what is expected, seen, by whom and when.

Invariants: CM15, a sighting counts for the words of the files that it was made under, and for no
others; CM16, what a simulated party shows never checks a real one.
"""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

from coordinator.commissioning.book import Entry
from coordinator.commissioning.points import Point

SEEN = "point_seen"
"""Kind of the entry of one state of one point."""
Result = Literal["checked", "open", "outdated"]


@dataclass(frozen=True, slots=True)
class Shown:
    """One state of a point, as it stands."""

    state: str
    how: str
    """`bus` or `person`; empty where it was not seen."""
    by: str = ""
    at: str = ""
    why: str = ""
    reference: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One point, as it stands."""

    point: Point
    shown: tuple[Shown, ...]
    is_outdated: bool
    """It was seen under other words of the files."""

    @property
    def result(self) -> Result:
        """Tell how the point stands."""
        if all(one.how for one in self.shown):
            return "checked"
        return "outdated" if self.is_outdated else "open"

    @property
    def missing(self) -> tuple[str, ...]:
        """Return the states that nobody has seen."""
        return tuple(one.state for one in self.shown if not one.how)

    def document(self) -> dict[str, Any]:
        """Return it for a file."""
        return {
            "tag": self.point.tag,
            "text": self.point.text,
            "expected": list(self.point.expected),
            "result": self.result,
            "missing": list(self.missing),
            "seen": [asdict(one) for one in self.shown if one.how],
            "digest": self.point.digest,
        }


def sheet_of(
    points: Iterable[Point], book: Sequence[Entry], *, real_only: bool = True
) -> tuple[Row, ...]:
    """Return the sheet.

    Args:
        points: Of the files as they are now.
        book: Every entry of the cell.
        real_only: Leave out what simulated parties have shown, as a real run does.
    """
    seen = [one for one in book if one.kind == SEEN and not (real_only and _simulated(one))]
    return tuple(
        _row(point, [one for one in seen if one.body["tag"] == point.tag]) for point in points
    )


def unchecked(rows: Iterable[Row], parties: Sequence[str]) -> tuple[str, ...]:
    """Return, in words, every point of these parties that blocks automatic mode."""
    return tuple(
        f"{row.point.tag}: {row.result}, not seen {', '.join(row.missing)}"
        for row in rows
        if row.point.party in parties and row.result != "checked"
    )


def sighting(
    point: Point, state: str, files: Iterable[tuple[str, str]], **more: Any
) -> dict[str, Any]:
    """Return the body of an entry: what was seen, under which words of the files."""
    return {
        "tag": point.tag,
        "state": state,
        "point": point.digest,
        "files": dict(files),
        **more,
    }


def _simulated(entry: Entry) -> bool:
    """Tell whether it was seen on the bus from a party that did not call itself real."""
    return entry.body["how"] == "bus" and entry.body.get("simulated") is not False


def _row(point: Point, entries: Sequence[Entry]) -> Row:
    now = [one for one in entries if one.body["point"] == point.digest]
    shown = tuple(_shown(state, now) for state in point.expected)
    return Row(point, shown, is_outdated=len(now) < len(entries))


def _shown(state: str, entries: Sequence[Entry]) -> Shown:
    last = next((one for one in reversed(entries) if one.body["state"] == state), None)
    if last is None:
        return Shown(state, "")
    body = last.body
    return Shown(state, body["how"], last.by, last.at, body.get("why", ""), last.reference)
