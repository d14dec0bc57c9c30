"""Lay out the hand-over pack: what was seen while a cell was brought up, with a page to begin from.

Nothing is judged here; every figure comes from the book, the journals or the files.

Invariants: CM11, every file of the pack stands in its manifest with its SHA-256; CM12, the pack
tells what is open before what is good.
"""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from coordinator.commissioning.book import Entry
from coordinator.commissioning.cycle import Cycle, means_of
from coordinator.commissioning.matrix_sheet import Row as MatrixRow
from coordinator.commissioning.matrix_sheet import page, to_html
from coordinator.commissioning.promotion import ACCEPTANCE
from coordinator.commissioning.punch import Item, punch_list
from coordinator.commissioning.registers import Aside, Signed
from coordinator.commissioning.sheet import Row as PointRow

MANIFEST = "manifest.sha256"
LIMITS = (
    "This pack says what was seen on the days that it names, and nothing about any other. It "
    "replaces no risk assessment, no guarding, no local code and no licensed practice. The holds "
    "of the program are operational. Whoever takes the cell over decides whether this is enough."
)
Section = tuple[str, Sequence[str], Sequence[Sequence[str]]]
"""Heading, heads of columns, rows; without heads the rows are lines of a list."""


@dataclass(frozen=True, slots=True)
class Pack:
    """Everything that a pack is made from."""

    cell: str
    text: str
    sequence: str
    by: str
    at: str
    cautions: tuple[str, ...]
    points: tuple[PointRow, ...]
    matrix: tuple[MatrixRow, ...]
    book: tuple[Entry, ...]
    asides: tuple[Aside, ...]
    signed: tuple[Signed, ...]
    cycles: tuple[Cycle, ...]
    files: tuple[tuple[str, bytes], ...]
    """(name, content) of the files that the cell is run with."""
    unread: tuple[str, ...] = ()
    """Journals that could not be read, and why."""

    @property
    def punch(self) -> tuple[Item, ...]:
        """Return the punch list."""
        return punch_list(self.book)

    @property
    def acceptances(self) -> tuple[Entry, ...]:
        """Return every acceptance, oldest first."""
        return tuple(one for one in self.book if one.kind == ACCEPTANCE)


def open_things(pack: Pack) -> tuple[str, ...]:
    """Return, in words, everything that is not as it should be at a hand-over."""
    found = [
        f"point {row.point.tag}: {row.result}, not seen {', '.join(row.missing)}"
        for row in pack.points
        if row.result != "checked"
    ]
    for world in ("simulated", "real"):
        results = [(row.cell.name, row.of(world).result) for row in pack.matrix]
        found += [
            f"cause and effect, {world}: {name}: failed" for name, it in results if it == "failed"
        ]
        left = sum(it == "untested" for _, it in results)
        found += [f"cause and effect, {world}: {left} of {len(results)} untested"] if left else []
    found += [
        f"punch item {one.number}: {one.what}: {one.found}" for one in pack.punch if one.is_open
    ]
    found += [
        f"hold point {one.point} of run {one.run}: nobody answered"
        for one in pack.signed
        if one.kind == "hold" and not one.who
    ]
    return (*found, *(f"journal not read: {one}" for one in pack.unread))


def contents(pack: Pack) -> dict[str, bytes]:
    """Return every file of the pack by its name, the manifest included."""
    title = f"{pack.text}, {pack.sequence}"
    made = {
        "points.json": _json([row.document() for row in pack.points]),
        "points.html": _points_page(pack).encode(),
        "matrix.json": _json([row.document() for row in pack.matrix]),
        "matrix.html": to_html(pack.matrix, title, pack.cautions).encode(),
        "overrides.json": _json([asdict(one) for one in pack.asides]),
        "points_signed.json": _json([asdict(one) for one in pack.signed]),
        "cycle_time.json": _json(
            {"sequences": means_of(pack.cycles), "runs": [asdict(one) for one in pack.cycles]}
        ),
        "punch_list.json": _json([asdict(one) for one in pack.punch]),
        "book.json": _json([asdict(one) for one in pack.book]),
        "lists.html": _lists_page(pack).encode(),
    }
    for number, one in enumerate(pack.acceptances, start=1):
        made[f"acceptance_{number}_{one.body['party']}.json"] = _json(one.body)
    made |= {f"files/{name}": content for name, content in pack.files}
    made["index.html"] = _index_page(pack, sorted(made)).encode()
    lines = [f"{hashlib.sha256(made[name]).hexdigest()}  {name}\n" for name in sorted(made)]
    made[MANIFEST] = "".join(lines).encode()
    return made


def _json(value: Any) -> bytes:
    return (json.dumps(value, indent=2, ensure_ascii=False) + "\n").encode()


def _index_page(pack: Pack, names: Sequence[str]) -> str:
    left = open_things(pack)
    checked = sum(row.result == "checked" for row in pack.points)
    facts = [
        ("Cell", f"{pack.cell}: {pack.text}"),
        ("Sequence", pack.sequence),
        ("Drawn up", f"{pack.at} by {pack.by}"),
        ("Points", f"{checked} of {len(pack.points)} checked on real parties"),
        *((f"Cause and effect, {word}", _counts(pack, word)) for word in ("simulated", "real")),
        ("Acceptances", str(len(pack.acceptances))),
        ("Punch list", f"{sum(one.is_open for one in pack.punch)} of {len(pack.punch)} open"),
        ("Overrides", str(len(pack.asides))),
        ("Runs studied", str(len(pack.cycles))),
    ]
    heads = ("party", "what it is", "result", "by", "at", "entry")
    hashes = [(name, hashlib.sha256(content).hexdigest()) for name, content in pack.files]
    sections: list[Section] = [
        (f"Open: {len(left)}", (), left),
        ("What was seen", ("what", "figure"), facts),
        ("Acceptances", heads, [_acceptance(one) for one in pack.acceptances]),
        ("Files of the cell, SHA-256", ("file", "digest"), hashes),
    ]
    return _page(pack, f"Hand-over of {pack.text}", sections, names)


def _counts(pack: Pack, word: str) -> str:
    results = [(row.simulated if word == "simulated" else row.real).result for row in pack.matrix]
    return ", ".join(f"{results.count(it)} {it}" for it in ("passed", "failed", "untested"))


def _acceptance(entry: Entry) -> tuple[str, ...]:
    body = entry.body
    what = {True: "simulated", False: "real", None: "has not said"}[body["simulated"]]
    failed = ", ".join(body["failed"])
    result = "passed" if body["passed"] else f"failed at {failed}" if failed else "not whole"
    return body["party"], what, result, entry.by, entry.at[:19], entry.reference


def _points_page(pack: Pack) -> str:
    rows = [
        (row.point.tag, one.state, one.how or row.result, one.by, one.at[:19], one.why)
        for row in pack.points
        for one in row.shown
    ]
    heads = ("tag", "state expected", "seen", "by", "when", "how a person saw it")
    return _page(pack, "Point-check sheet", [("", heads, rows)])


def _lists_page(pack: Pack) -> str:
    sections: list[Section] = [
        (
            "Punch list",
            ("number", "what", "found", "opened", "closed"),
            [
                (str(one.number), one.what, one.found, one.opened, one.closed or "OPEN")
                for one in pack.punch
            ],
        ),
        (
            "Overrides",
            ("run", "interlock", "who", "why", "from", "to", "ended by"),
            [
                (one.run, one.interlock, one.who, one.why, one.began[:19], one.ended[:19],
                 one.ended_by)
                for one in pack.asides
            ],
        ),
        (
            "Hold and witness points",
            ("run", "point", "kind", "side", "asked of", "who", "answer", "at"),
            [
                (one.run, one.point, one.kind, one.side, one.wanted,
                 one.who or ("NOBODY" if one.kind == "hold" else ""), one.answer, one.at[:19])
                for one in pack.signed
            ],
        ),
        (
            "Cycle time, waits charged to whoever caused them",
            ("run", "sequence", "ended", "parties", "total s", "waited for (s)",
             "critical path (s)"),
            [
                (one.run, one.sequence, one.phase, one.standings, f"{one.total_s:.1f}",
                 _spans(one.waits_s), _spans(one.critical_s))
                for one in pack.cycles
            ],
        ),
    ]  # fmt: skip
    return _page(pack, "Lists", sections)


def _page(pack: Pack, title: str, sections: Sequence[Section], names: Sequence[str] = ()) -> str:
    return page(
        "sheet.html.j2",
        title=title,
        cautions=(*pack.cautions, LIMITS),
        sections=sections,
        names=names,
        manifest=MANIFEST,
    )


def _spans(found: dict[str, float]) -> str:
    return ", ".join(f"{name} {length_s:.1f}" for name, length_s in found.items())
