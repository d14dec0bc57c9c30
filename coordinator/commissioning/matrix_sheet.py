"""Fold the book into the cause-and-effect matrix as it stands, for simulated parties and for real.

Invariants: CM9, a tick counts for the words of the files that it was made under; CM10, the last
journal that tried a cell of the matrix decides about it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any, Literal

from coordinator.commissioning.book import Entry
from coordinator.commissioning.matrix import COLUMNS, Cell, EffectKind
from coordinator.commissioning.matrix_judge import Tick
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
        found: dict[str, Any] = {
            "name": self.cell.name,
            "interlock": self.cell.interlock,
            "kind": self.cell.kind,
            "cause": self.cell.cause,
            "effect": str(self.cell.effect),
            "action": self.cell.action,
            "reason": self.cell.reason,
            "expected": self.cell.expected,
            "digest": self.cell.digest,
        }
        for world in (self.simulated, self.real):
            name = "simulated" if world is self.simulated else "real"
            found[name] = {
                "result": world.result,
                "reference": world.reference,
                "text": world.text,
            }
        return found


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
    parts = [f"<h1>Cause and effect: {escape(title)}</h1>"]
    parts += [f'<p class="caution">{escape(one)}</p>' for one in cautions]
    parts.append(
        "<p>Each cell: whether the effect must come (yes) or must stay away (no); then ✓ passed, "
        "✗ failed or – untested, on simulated parties and on real ones.</p>"
    )
    heads = "".join(f'<th scope="col">{escape(str(one))}</th>' for one in COLUMNS)
    parts.append(f'<table><thead><tr><th scope="col">interlock</th><th scope="col">its signal</th>'
                 f"{heads}</tr></thead><tbody>")  # fmt: skip
    for key in dict.fromkeys((row.cell.interlock, row.cell.cause) for row in rows):
        mine = [row for row in rows if (row.cell.interlock, row.cell.cause) == key]
        cells = "".join(_html_cell(mine, effect) for effect in COLUMNS)
        name = f'<th scope="row">{escape(mine[0].cell.kind)} {escape(key[0])}</th>'
        parts.append(f"<tr>{name}<td>{escape(key[1])}</td>{cells}</tr>")
    parts.append("</tbody></table>")
    parts += _html_exceptions([row for row in rows if row.cell.effect is EffectKind.GOES_ON])
    parts += _html_references(rows)
    return page(f"Cause and effect: {title}", parts)


def _html_cell(rows: Sequence[Row], effect: EffectKind) -> str:
    row = next((one for one in rows if one.cell.effect is effect), None)
    if row is None:
        return '<td class="none"></td>'
    results = row.simulated.result, row.real.result
    # Green is for what was seen in both worlds.
    worst = next((word for word in ("failed", "untested") if word in results), "passed")
    must = "yes" if row.cell.expected else "no"
    signs = f"sim {SIGNS[row.simulated.result]} real {SIGNS[row.real.result]}"
    return f'<td class="{worst}" title="{escape(row.simulated.text)}">{must}<br>{signs}</td>'


def _html_exceptions(rows: Sequence[Row]) -> list[str]:
    if not rows:
        return []
    parts = ["<h2>What goes on all the same, by the file</h2><table><thead><tr>"]
    heads = ("interlock", "action", "reason", "simulated", "real")
    parts += [f'<th scope="col">{one}</th>' for one in heads]
    parts.append("</tr></thead><tbody>")
    for row in rows:
        texts = (row.cell.interlock, row.cell.action, row.cell.reason)
        tds = "".join(f"<td>{escape(one)}</td>" for one in texts)
        for it in (row.simulated, row.real):
            tds += f'<td class="{it.result}">{SIGNS[it.result]} {it.result}</td>'
        parts.append(f"<tr>{tds}</tr>")
    return [*parts, "</tbody></table>"]


def _html_references(rows: Sequence[Row]) -> list[str]:
    parts = ["<h2>Where each tick comes from</h2><ul>"]
    for row in rows:
        for world, it in (("simulated", row.simulated), ("real", row.real)):
            if it.reference:
                text = f"{row.cell.name}, {world}: {it.result}, {it.text}; {it.reference}"
                parts.append(f"<li>{escape(text)}</li>")
    return [*parts, "</ul>"]


_STYLE = """
body { font: 15px/1.45 system-ui, sans-serif; margin: 2rem auto; max-width: 70rem; padding: 0 1rem;
  color: #1a1a1a; background: #fff; }
.caution { border: 2px solid #000; padding: .5rem .8rem; font-weight: 600; }
table { border-collapse: collapse; margin: 1rem 0; width: 100%; }
th, td { border: 1px solid #999; padding: .3rem .5rem; text-align: left; vertical-align: top; }
td.passed { background: #e8f3e8; } td.failed { background: #f6d5d5; font-weight: 700; }
td.untested { background: #f5f0dc; } td.none { background: #eee; }
li { overflow-wrap: anywhere; }
"""


def page(title: str, parts: Iterable[str]) -> str:
    """Return a whole page of one style."""
    head = f'<meta charset="utf-8"><title>{escape(title)}</title><style>{_STYLE}</style>'
    body = "\n".join(parts)
    return f'<!doctype html>\n<html lang="en"><head>{head}</head><body>\n{body}\n</body></html>\n'
