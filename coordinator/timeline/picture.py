"""Draw a timeline as SVG, or as a page of one file that can be zoomed; nothing is fetched.

Units: places in pixels; times in seconds since the run began.
"""

from collections.abc import Callable
from typing import Any

from coordinator.packaged import render
from coordinator.timeline.build import Timeline

WIDTH, LANE = 1600, 46
_LEFT, _TOP = 70, 30
TICKS = 12
_FILL = {
    "work": "#c4c4c4",
    "recover": "#ffe3a8",
    "wait": "#ffffff",
    "held": "#ffd0c8",
    "idle": "#f4f4f4",
}


def to_svg(made: Timeline) -> str:
    """Return the timeline as SVG: kinds differ by shade and sign, the critical path by its edge."""
    return render("coordinator.timeline", "timeline.svg.j2", **_picture(made))


def to_page(made: Timeline) -> str:
    """Return a page that zooms by width, and lists everything as a table too."""
    zooms = (1, 2, 4, 8, 16)
    return render("coordinator.timeline", "timeline.html.j2", zooms=zooms, **_picture(made))


def _picture(made: Timeline) -> dict[str, Any]:
    """Return what the picture shows, and where."""
    end_us = max(made.end_us, 1)

    def place(at_us: int) -> float:
        return _LEFT + at_us / end_us * (WIDTH - _LEFT - 20.0)

    ticks = [end_us * number // TICKS for number in range(TICKS + 1)]
    return {
        "made": made,
        "width": WIDTH,
        "lane": LANE,
        "top": _TOP,
        "height": _TOP + LANE * len(made.parties) + 70,
        "ticks": [(place(at_us), _clock(at_us)) for at_us in ticks],
        "bars": _bars(made, place),
        "marks": [(place(one.at_us), one) for one in made.marks if one.severity != "note"],
        "waits": ", ".join(f"{who} {us / 1e6:.0f} s" for who, us in made.waits_us().items()),
    }


def _clock(at_us: int) -> str:
    minutes, seconds = divmod(round(at_us / 1e6), 60)
    return f"{minutes}:{seconds:02d}"


def _bars(made: Timeline, place: Callable[[int], float]) -> list[dict[str, Any]]:
    critical = [(one.lane, one.begin_us, one.node) for one in made.critical]
    bars = []
    for one in made.intervals:
        x, end = place(one.begin_us), place(one.end_us)
        width = max(end - x, 0.3)
        charged = f", for {one.charged_to}" if one.charged_to else ""
        times = f"{one.begin_us / 1e6:.1f} to {one.end_us / 1e6:.1f} s"
        sign = {"recover": "R", "held": "H"}.get(one.kind, "")
        if not sign and width > 7.0 * len(one.name):
            sign = one.name
        is_critical = (one.lane, one.begin_us, one.node) in critical
        bars.append(
            {
                "x": x,
                "y": _TOP + LANE * one.lane,
                "width": width,
                "words": f"{one.kind} {one.name}{charged}, {times}",
                "edge": "critical" if is_critical else "plain",
                "fill": _FILL[one.kind],
                "sign": sign if width > 7.0 else "",
            }
        )
    return bars
