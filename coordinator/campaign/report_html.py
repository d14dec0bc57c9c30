"""Write a campaign as one HTML page with its plots inside: no script, nothing fetched."""

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import Any

from coordinator.campaign.campaigning import Sample

STYLE = """
:root { color-scheme: light dark; --ink: #1b1f24; --paper: #fff; --line: #c9ced6; --soft: #f3f5f8; }
@media (prefers-color-scheme: dark) {
  :root { --ink: #e6e9ee; --paper: #14171b; --line: #3a4049; --soft: #1d2127; } }
body { font: 15px/1.5 system-ui, sans-serif; color: var(--ink); background: var(--paper);
  margin: 2rem auto; max-width: 76rem; padding: 0 1rem; }
h1 { font-size: 1.5rem; } h2 { font-size: 1.15rem; margin-top: 2.2rem; }
table { border-collapse: collapse; font-size: 0.85rem; }
th, td { border: 1px solid var(--line); padding: 0.2rem 0.5rem; text-align: left; }
th { background: var(--soft); font-weight: 600; position: sticky; top: 0; }
td.number { text-align: right; font-variant-numeric: tabular-nums; }
td.heat { text-align: right; color: #10141a; font-variant-numeric: tabular-nums; }
.scroll { overflow: auto; max-height: 34rem; border: 1px solid var(--line); }
.bad { color: #b3261e; font-weight: 600; } .good { color: #1a7f37; font-weight: 600; }
@media (prefers-color-scheme: dark) { .bad { color: #ff8a80; } .good { color: #6fdc8c; } }
svg text { fill: var(--ink); font-size: 12px; }
"""
HOT_S = 10.0
"""The colour of delays is fullest from here on; chosen: longer than any answer of the link."""


NOT_KNOWN = "not known"


def page(report: Mapping[str, Any], samples: Sequence[Sample], title: str) -> str:
    """Return the page.

    Args:
        report: As `report.document` gives it.
        samples: How the campaign went over time.
        title: What it is a campaign of.
    """
    parts = [
        f"<h1>Campaign of {escape(title)}</h1>",
        "<p>Everything here is simulated. It proves nothing about a real arm.</p>",
        _summary(report),
        _failures(report),
        "<h2>Cells, pairs and triples met, over the cases run</h2>",
        _curve(samples),
        "<h2>From cause to notice, in seconds (median; spread)</h2>",
        f"<p>Green: at once. Red: {HOT_S:g} s and more. Empty: nobody noticed it, or it never "
        "acted.</p>",
        _delays(report["delay_s"]),
        "<h2>Fault by step: how often it acted, and the share that was noticed</h2>",
        "<p>Green: always noticed. Red: never, as where it changes nothing. Empty: it never "
        "acted there.</p>",
        _heat(report["matrix"]),
        "<h2>Fault, step and moment</h2>",
        _matrix(report["matrix"], report["totals"]),
        "<h2>Guide words</h2>",
        _rows(report["worksheet"]),
    ]
    body = "\n".join(parts)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>Campaign of {escape(title)}</title><style>{STYLE}</style></head>"
        f"<body>\n{body}\n</body></html>\n"
    )


def _summary(report: Mapping[str, Any]) -> str:
    canaries, coverage, going = report["canaries"], report["coverage"], report["health"]
    rows = [
        ("cases", f"{report['cases']}, of which {report['whole']} to the very end"),
        ("ended", _ended(report)),
        ("canaries", f"{canaries['reported']} reported, {canaries['missed']} missed"),
        *(
            (name.replace("_", " "), f"{met} of {all_}, {100 * met / max(1, all_):.1f} %")
            for name, (met, all_) in coverage.items()
        ),
        ("rate", _known(going["rate_per_s"], " cases a second in the last call")),
        ("new", _known(going["new_per_min"], " a minute in the last quarter")),
        ("plateau", {True: "yes", False: "no", None: NOT_KNOWN}[going["plateau"]]),
    ]
    return (
        "<table>"
        + "".join(f"<tr><th>{a}</th><td>{escape(b)}</td></tr>" for a, b in rows)
        + ("</table>")
    )


def _ended(report: Mapping[str, Any]) -> str:
    """Say how cases ended; canaries, which are meant to fail, are left out."""
    ended = report["ended"]
    counts = ", ".join(f"{name} {count}" for name, count in sorted(ended.items()))
    canaries = sum(report["canaries"].values())
    return f"{counts or 'none'}: {sum(ended.values())} cases, without the {canaries} canaries"


def _known(value: float | None, unit: str) -> str:
    return NOT_KNOWN if value is None else f"{value}{unit}"


def _failures(report: Mapping[str, Any]) -> str:
    failed = report["failed"]
    if not report["cases"]:
        return '<p class="bad">Nothing was run.</p>'
    if not failed:
        return '<p class="good">No promise was broken.</p>'
    rows = [
        {
            "promise broken": name,
            "cases": str(count),
            "the promise": _promise(report, name),
            "run one again with bothsides replay": ", ".join(report["kept"][name]) or "none kept",
        }
        for name, count in failed.items()
    ]
    return '<h2 class="bad">Broken promises</h2>' + _rows(rows)


def _promise(report: Mapping[str, Any], signature: str) -> str:
    return str(report["promises"].get(signature.split(" ", maxsplit=1)[0], ""))


def _curve(samples: Sequence[Sample]) -> str:
    """Draw what is known over the cases done, as a line in a box."""
    if len(samples) < 2:
        return "<p>Too short to draw.</p>"
    width, height, left, foot = 900, 220, 60, 30
    most_done, most_known = max(1, samples[-1].done), max(1, samples[-1].known)
    points = " ".join(
        f"{left + one.done / most_done * (width - left - 10):.1f},"
        f"{height - foot - one.known / most_known * (height - foot - 15):.1f}"
        for one in samples
    )
    return (
        f'<svg viewBox="0 0 {width} {height}" width="100%" role="img" '
        'aria-label="what was met over cases">'
        f'<polyline points="{left},10 {left},{height - foot} {width - 10},{height - foot}" '
        'fill="none" stroke="currentColor" stroke-width="1"/>'
        f'<polyline points="{points}" fill="none" stroke="#2b6cb0" stroke-width="2"/>'
        f'<text x="{left + 6}" y="20">met</text>'
        f'<text x="{left - 8}" y="20" text-anchor="end">{most_known}</text>'
        f'<text x="{left - 8}" y="{height - foot}" text-anchor="end">0</text>'
        f'<text x="{width - 10}" y="{height - 8}" text-anchor="end">{most_done} cases'
        "</text></svg>"
    )


def _delays(delays: Mapping[str, Mapping[str, float]]) -> str:
    rows = []
    for kind, one in sorted(delays.items()):
        cells = "".join(_heat_cell(one.get(name)) for name in ("least", "median", "p90", "most"))
        rows.append(f"<tr><th>{escape(kind)}</th>{cells}</tr>")
    head = "<tr><th>cause</th><th>least</th><th>median</th><th>nine tenths</th><th>most</th></tr>"
    return f"<table>{head}{''.join(rows)}</table>"


def _heat_cell(value: float | None) -> str:
    if value is None:
        return "<td></td>"
    share = min(1.0, value / HOT_S)
    return f'<td class="heat" style="background:{_colour(share)}">{value:.3f}</td>'


def _colour(share: float) -> str:
    """Return a colour from pale green over yellow to red, light enough for dark text."""
    return f"hsl({120 - 120 * share:.0f} 65% 78%)"


def _heat(cells: Iterable[Mapping[str, Any]]) -> str:
    sums: dict[tuple[str, str], list[int]] = {}
    for one in cells:
        sum_ = sums.setdefault((one["cause"], one["step"]), [0, 0])
        noticed = sum(one["detected"].values())
        sum_[0] += noticed + one["masked"]
        sum_[1] += noticed
    causes = sorted({cause for cause, _ in sums})
    steps = sorted({step for _, step in sums})
    head = "".join(f"<th>{escape(step)}</th>" for step in steps)
    body = []
    for cause in causes:
        row = []
        for step in steps:
            acted, noticed = sums.get((cause, step), [0, 0])
            if not acted:
                row.append("<td></td>")
                continue
            colour = _colour(1.0 - noticed / acted)
            row.append(
                f'<td class="heat" style="background:{colour}" '
                f'title="{noticed} of {acted} noticed">{acted}</td>'
            )
        body.append(f"<tr><th>{escape(cause)}</th>{''.join(row)}</tr>")
    table = f"<table><tr><th></th>{head}</tr>{''.join(body)}</table>"
    return f'<div class="scroll">{table}</div>'


def _matrix(cells: Iterable[Mapping[str, Any]], totals: Mapping[str, int]) -> str:
    rows = [
        {
            "cause": one["cause"],
            "step": one["step"],
            "moment": one["moment"].replace("_", " "),
            "set": str(one["planned"]),
            "not reached": str(one["not_reached"]),
            "masked": str(one["masked"]),
            "noticed by": ", ".join(f"{name} {count}" for name, count in one["detected"].items()),
            "ended": ", ".join(f"{name} {count}" for name, count in one["ended"].items()),
        }
        for one in cells
    ]
    rows.append(
        {
            "cause": "all",
            "step": "",
            "moment": "",
            "set": str(totals["planned"]),
            "not reached": str(totals["not_reached"]),
            "masked": str(totals["masked"]),
            "noticed by": str(totals["detected"]),
            "ended": "",
        }
    )
    return _rows(rows)


def _rows(rows: Sequence[Mapping[str, str]]) -> str:
    if not rows:
        return "<p>None.</p>"
    head = "".join(f"<th>{escape(name)}</th>" for name in rows[0])
    body = "".join(
        "<tr>" + "".join(_cell(value) for value in row.values()) + "</tr>" for row in rows
    )
    return f'<div class="scroll"><table><tr>{head}</tr>{body}</table></div>'


def _cell(value: str) -> str:
    kind = ' class="number"' if value.isdigit() else ""
    return f"<td{kind}>{escape(value)}</td>"
