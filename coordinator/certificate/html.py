"""Write a certificate as one HTML file, pictures inside, nothing fetched from elsewhere."""

from collections.abc import Sequence
from html import escape

from coordinator.certificate.content import (
    BOLT_COLUMNS,
    SIGNATURES,
    TOOL_COLUMNS,
    Certificate,
)
from coordinator.certificate.drawing import Disc, Drawing, Stroke, Words, draw_circle, draw_plot

_STYLE = """
body{font:15px/1.45 system-ui,sans-serif;color:#1a1a1a;background:#fff;max-width:62rem;
margin:2rem auto;padding:0 1rem}
h1{font-size:1.5rem}h2{font-size:1.1rem;border-bottom:1px solid #767676;margin-top:2rem}
table{border-collapse:collapse;width:100%}td,th{border:1px solid #949494;padding:.2rem .4rem;
text-align:left;vertical-align:top}.verdict{font-size:1.2rem;font-weight:700}
.banner{border:3px solid #1a1a1a;padding:.4rem .8rem;font-weight:700;letter-spacing:.1em}
code{overflow-wrap:anywhere}.plots{display:flex;flex-wrap:wrap;gap:1rem}
figure{margin:0}.sign td{height:3rem;width:33%}.wide{overflow-x:auto}
"""
_PEN = {"plain": ("#1a1a1a", 1.0), "strong": ("#000000", 2.2), "pale": ("#8a8a8a", 0.8)}


def to_html(made: Certificate) -> str:
    """Return the certificate as HTML."""
    banner = f'<p class="banner">{escape(made.banner)}</p>' if made.banner else ""
    parts = [
        f"<h1>Certificate: {escape(made.title)}</h1>{banner}",
        f'<p class="verdict">{escape(made.verdict)}</p>',
        _section("Joint and run", _table((), made.facts)),
        _section("Tools and calibration", _table(TOOL_COLUMNS, made.tools)),
        _section("People", _list(made.people)),
        _section("Files, SHA-256", _table(("file", "digest"), made.files)),
        _section("Bolt circle", to_svg(draw_circle(made.circle))),
        _section("Records", _table(BOLT_COLUMNS, made.bolts)),
        _section("Exceptions", _list(made.exceptions or ("none",))),
        _section("Torque over angle", _figures(made)),
        _section("Cautions", _list(made.cautions)),
        _section("Signatures", _signatures()),
        _section("Record head", f"<p><code>{escape(made.head)}</code></p>"),
    ]
    head = f'<meta charset="utf-8"><title>Certificate: {escape(made.title)}</title>'
    view = '<meta name="viewport" content="width=device-width, initial-scale=1">'
    body = "\n".join(parts)
    return (
        f'<!doctype html>\n<html lang="en"><head>{head}{view}<style>{_STYLE}</style></head>\n'
        f"<body><main>\n{body}\n</main></body></html>\n"
    )


def _section(title: str, content: str) -> str:
    return f"<section><h2>{escape(title)}</h2>{content}</section>"


def _table(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in columns)
    first, closing = ("<td>", "</td>") if columns else ('<th scope="row">', "</th>")
    lines = []
    for row in rows:
        cells = [f"{first}{escape(row[0])}{closing}"]
        cells += [f"<td>{escape(cell)}</td>" for cell in row[1:]]
        lines.append(f"<tr>{''.join(cells)}</tr>")
    header = f"<thead><tr>{head}</tr></thead>" if columns else ""
    table = f"<table>{header}<tbody>{''.join(lines)}</tbody></table>"
    return f'<div class="wide" tabindex="0" role="region" aria-label="table">{table}</div>'


def _list(lines: Sequence[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(line)}</li>" for line in lines) + "</ul>"


def _figures(made: Certificate) -> str:
    return (
        '<div class="plots">'
        + "".join(f"<figure>{to_svg(draw_plot(plot))}</figure>" for plot in made.plots)
        + "</div>"
    )


def _signatures() -> str:
    cells = "".join(f"<td>{escape(name)}<br><br>name, date, signature</td>" for name in SIGNATURES)
    return f'<table class="sign"><tbody><tr>{cells}</tr></tbody></table>'


def to_svg(drawing: Drawing) -> str:
    """Return a drawing as SVG, its title with it."""
    marks = "".join(_mark(one, drawing.height) for one in drawing.marks)
    title = escape(drawing.title)
    return (
        f"<p>{title}</p>"
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{drawing.width * 1.3:g}" '
        f'viewBox="0 0 {drawing.width:g} {drawing.height:g}" '
        f'font-family="system-ui,sans-serif" font-size="8"><title>{title}</title>{marks}</svg>'
    )


def _mark(one: Stroke | Disc | Words, height: float) -> str:
    match one:
        case Stroke(points, weight, dashes):
            colour, width = _PEN[weight]
            path = " ".join(f"{x:g},{height - y:.2f}" for x, y in points)
            dash = f' stroke-dasharray="{" ".join(map(str, dashes))}"' if dashes else ""
            return (
                f'<polyline points="{path}" fill="none" stroke="{colour}" '
                f'stroke-width="{width}"{dash}/>'
            )
        case Disc(x, y, radius, weight):
            colour, width = _PEN[weight]
            return (
                f'<circle cx="{x:.2f}" cy="{height - y:.2f}" r="{radius:g}" fill="#fff" '
                f'stroke="{colour}" stroke-width="{width}"/>'
            )
        case Words(x, y, text, anchor):
            return (
                f'<text x="{x:.2f}" y="{height - y:.2f}" text-anchor="{anchor}">'
                f"{escape(text)}</text>"
            )
