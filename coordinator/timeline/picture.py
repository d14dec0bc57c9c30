"""Draw a timeline as SVG, or as a page of one file that can be zoomed; nothing is fetched.

Units: places in pixels; times in seconds since the run began.
"""

from collections.abc import Callable
from html import escape

from coordinator.timeline.build import Interval, Timeline

WIDTH = 1600.0
LANE = 46.0
_LEFT, _TOP = 70.0, 30.0
TICKS = 12
_FILL = {
    "work": "#c4c4c4",
    "recover": "#ffe3a8",
    "wait": "#ffffff",
    "held": "#ffd0c8",
    "idle": "#f4f4f4",
}
_STYLE = (
    "text{font:12px system-ui,sans-serif;fill:#1c1c1c}"
    ".critical{stroke:#000;stroke-width:3}.plain{stroke:#8a8a8a;stroke-width:.7}"
)


def to_svg(made: Timeline) -> str:
    """Return the timeline as SVG: kinds differ by shade and sign, the critical path by its edge."""
    height = _TOP + LANE * len(made.parties) + 70.0
    end_us = max(made.end_us, 1)

    def place(at_us: int) -> float:
        return _LEFT + at_us / end_us * (WIDTH - _LEFT - 20.0)

    critical = [(one.lane, one.begin_us, one.node) for one in made.critical]
    parts = [_ticks(end_us, height, place)]
    for lane, name in enumerate(made.parties):
        parts.append(f'<text x="4" y="{_TOP + LANE * lane + 24:g}">{escape(name)}</text>')
    for one in made.intervals:
        is_critical = (one.lane, one.begin_us, one.node) in critical
        parts.append(_bar(one, place(one.begin_us), place(one.end_us), is_critical))
    for mark in made.marks:
        if mark.severity != "note":
            x = place(mark.at_us)
            title = f"<title>{mark.at_us / 1e6:.1f} s: {escape(mark.text)}</title>"
            y = _TOP + LANE * len(made.parties) + 14
            parts.append(f'<text x="{x:.1f}" y="{y:g}" text-anchor="middle">▲{title}</text>')
    waits = ", ".join(f"{who} {us / 1e6:.0f} s" for who, us in made.waits_us().items())
    foot = f"waited for: {waits or 'nobody'}. Thick edge: critical path. ▲ warning or alarm. " + (
        "Shade: work; with R: recovery; white: wait; with H: held."
    )
    parts.append(f'<text x="4" y="{height - 12:g}">{escape(foot)}</text>')
    title = f"<title>Timeline of {escape(made.name)}, {made.end_us / 1e6:.0f} s</title>"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" role="img">'
        f"{title}<style>{_STYLE}</style>"
        f'<rect width="{WIDTH:g}" height="{height:g}" fill="#fff"/>{"".join(parts)}</svg>\n'
    )


def _bar(one: Interval, left: float, right: float, is_critical: bool) -> str:
    y, width = _TOP + LANE * one.lane, max(right - left, 0.3)
    charged = f", for {one.charged_to}" if one.charged_to else ""
    words = f"{one.kind} {one.name}{charged}, {one.begin_us / 1e6:.1f} to {one.end_us / 1e6:.1f} s"
    edge = "critical" if is_critical else "plain"
    sign = {"recover": "R", "held": "H"}.get(one.kind, "")
    if not sign and width > 7.0 * len(one.name):
        sign = one.name
    text = ""
    if sign and width > 7.0:
        text = f'<text x="{left + 3:.1f}" y="{y + 24:g}">{escape(sign)}</text>'
    return (
        f'<g><title>{escape(words)}</title><rect x="{left:.2f}" y="{y:g}" width="{width:.2f}" '
        f'height="34" class="{edge}" fill="{_FILL[one.kind]}"/>{text}</g>'
    )


def _ticks(end_us: int, height: float, place: Callable[[int], float]) -> str:
    marks = []
    for number in range(TICKS + 1):
        at_us = end_us * number // TICKS
        x = place(at_us)
        minutes, seconds = divmod(round(at_us / 1e6), 60)
        word = f"{minutes}:{seconds:02d}"
        marks.append(
            f'<path d="M{x:.1f} {_TOP - 6:g}V{height - 40:g}" class="plain"/>'
            f'<text x="{x:.1f}" y="16" text-anchor="middle">{word}</text>'
        )
    return "".join(marks)


def to_page(made: Timeline) -> str:
    """Return a page that zooms by width, and lists everything as a table too."""
    zooms = "".join(
        f'<input type="radio" name="zoom" id="z{factor}"{" checked" if factor == 1 else ""}>'
        f'<label for="z{factor}">{factor}×</label>'
        for factor in (1, 2, 4, 8, 16)
    )
    rules = "".join(
        f"#z{factor}:checked~.view svg{{width:{factor * 100}%}}" for factor in (1, 2, 4, 8, 16)
    )
    rows = "".join(
        f"<tr><td>{one.begin_us / 1e6:.1f}</td><td>{one.end_us / 1e6:.1f}</td>"
        f"<td>{escape(made.parties[one.lane])}</td><td>{one.kind}</td>"
        f"<td>{escape(one.name)}</td><td>{escape(one.charged_to)}</td></tr>"
        for one in made.intervals
        if one.kind != "idle"
    )
    heads = "".join(
        f'<th scope="col">{name}</th>' for name in ("from s", "to s", "side", "kind", "what", "for")
    )
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Timeline of {escape(made.name)}</title><style>"
        "body{font:15px system-ui,sans-serif;margin:1rem;color:#1c1c1c}"
        ".view{overflow-x:auto}svg{height:auto}label{margin:0 1rem 0 .3rem}"
        "td,th{text-align:left;padding:.1rem .6rem;border-bottom:1px solid #ccc}"
        f"{rules}</style></head><body><main><h1>Timeline of {escape(made.name)}</h1>"
        f'{zooms}<div class="view" tabindex="0" role="region" aria-label="timeline">'
        f"{to_svg(made)}</div><table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
        "</main></body></html>\n"
    )
