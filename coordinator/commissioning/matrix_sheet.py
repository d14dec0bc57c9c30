"""Fold the book into the cause-and-effect matrix as it stands, for simulated parties and for real.

Invariants: CM9, a tick counts for the words of the files that it was made under; CM10, the last
journal that tried a cell of the matrix decides about it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

from coordinator.commissioning.book import Entry
from coordinator.commissioning.matrix import COLUMNS, Cell, EffectKind
from coordinator.commissioning.matrix_judge import Tick
from coordinator.packaged import render
from coordinator.wire.topics import FLOOR

TICKED = "matrix"
"""Kind of the entry that one judged journal leaves."""
World = Literal["simulated", "real"]
Result = Literal["passed", "failed", "untested"]
SIGNS = {"passed": "✓", "failed": "✗", "untested": "–"}


@dataclass(frozen=True, slots=True)
class Standing:
    """How a cell stands in one world."""

    result: Result = "untested"
    reference: str = ""
    """Run, event and moment in its journal."""
    text: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One cell, as it stands."""

    cell: Cell
    simulated: Standing
    real: Standing

    def of(self, world: World) -> Standing:
        """Return how it stands in one world."""
        return self.simulated if world == "simulated" else self.real

    def document(self) -> dict[str, Any]:
        """Return it for a file."""
        names = ("name", "interlock", "kind", "cause", "effect", "action", "reason", "expected")
        told = {name: getattr(self.cell, name) for name in (*names, "digest")}
        return told | {"simulated": asdict(self.simulated), "real": asdict(self.real)}


def ticks_body(
    run: str, journal: str, plan: str, standings: dict[str, str], ticks: Iterable[Tick]
) -> dict[str, Any]:
    """Return the body of an entry: what one journal shows."""
    return {
        "run": run,
        "journal": journal,
        "plan": plan,
        "standings": standings,
        "ticks": [
            {
                "cell": one.cell.name,
                "digest": one.cell.digest,
                "result": one.result,
                "at_us": one.at_us,
                "event": one.event,
                "text": one.text,
            }
            for one in ticks
        ],
    }


def rows_of(cells: Iterable[Cell], book: Sequence[Entry]) -> tuple[Row, ...]:
    """Return the matrix as it stands."""
    entries = [one for one in book if one.kind == TICKED]
    real = [one for one in entries if one.body["standings"].get(FLOOR) == "real"]
    simulated = [one for one in entries if one not in real]
    return tuple(Row(cell, _standing(cell, simulated), _standing(cell, real)) for cell in cells)


def _standing(cell: Cell, entries: Sequence[Entry]) -> Standing:
    for entry in reversed(entries):
        ticks = [one for one in entry.body["ticks"] if one["digest"] == cell.digest]
        if ticks:
            # A journal that shows it both ways has shown that it cannot be relied on.
            told = next((one for one in ticks if one["result"] == "failed"), ticks[-1])
            at = f"{entry.body['run']}, event {told['event']}, {told['at_us'] / 1e6:.2f} s"
            return Standing(told["result"], f"{at} ({entry.reference})", told["text"])
    return Standing()


def to_lines(rows: Sequence[Row]) -> list[str]:
    """Return the matrix as text, a line for each cell."""
    lines = []
    for row in rows:
        must = "must come" if row.cell.expected else "must stay away"
        worlds = "; ".join(
            f"{world} {SIGNS[it.result]} {it.result}" + (f", {it.text}" if it.text else "")
            for world, it in (("simulated", row.simulated), ("real", row.real))
        )
        lines.append(f"{row.cell.kind} {row.cell.name} ({must}): {worlds}")
    return lines


def to_html(rows: Sequence[Row], title: str, cautions: Sequence[str]) -> str:
    """Return the matrix as a page that needs nothing else."""
    lines: dict[tuple[str, str], dict[EffectKind, Row]] = {}
    for row in rows:
        lines.setdefault((row.cell.interlock, row.cell.cause), {}).setdefault(row.cell.effect, row)
    return page(
        "matrix.html.j2",
        title=f"Cause and effect: {title}",
        cautions=cautions,
        columns=COLUMNS,
        lines=lines.values(),
        rows=rows,
        excepted=[row for row in rows if row.cell.effect is EffectKind.GOES_ON],
        signs=SIGNS,
    )


def page(template: str, **content: Any) -> str:
    """Return a whole page of one style."""
    return render("coordinator.commissioning", template, **content)
