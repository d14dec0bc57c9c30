"""Draw the bolt circle and torque-angle plots once, for PDF and HTML alike.

Units: places and sizes in points (1/72 inch), y upwards; angle degree, torque newton metre.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from coordinator.certificate.content import BoltPlot, BoltState

WIDTH, HEIGHT = 250.0, 140.0
CIRCLE = 190.0
POINTS_MAX = 400
"""Chosen: more points than this are finer than print."""
NAMED_SHARE = 0.3
"""Chosen: shorter curves, such as a confirmation without turning, leave no room for a name."""
_MARGIN = (34.0, 22.0, 8.0, 14.0)  # left, bottom, right, top
_DASHES = ((), (4.0, 2.0), (1.0, 2.0), (6.0, 2.0, 1.0, 2.0))

Weight = Literal["plain", "strong", "pale"]
Placing = Callable[[float, float], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points."""

    points: tuple[tuple[float, float], ...]
    weight: Weight = "plain"
    dashes: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle, filled pale or not."""

    x: float
    y: float
    radius: float
    weight: Weight = "plain"


@dataclass(frozen=True, slots=True)
class Words:
    """Text at a place."""

    x: float
    y: float
    text: str
    anchor: Literal["start", "middle", "end"] = "middle"


@dataclass(frozen=True, slots=True)
class Drawing:
    """Marks in the order in which they are drawn."""

    width: float
    height: float
    title: str
    marks: tuple[Stroke | Disc | Words, ...]


def draw_circle(states: Sequence[BoltState]) -> Drawing:
    """Draw every bolt in its place, numbered clockwise from the top."""
    middle, radius = CIRCLE / 2, CIRCLE / 2 - 34.0
    marks: list[Stroke | Disc | Words] = [Disc(middle, middle, radius, "pale")]
    for place, state in enumerate(states):
        turn = 2.0 * math.pi * place / len(states)
        x, y = middle + radius * math.sin(turn), middle + radius * math.cos(turn)
        good = state.word == "accepted"
        marks.append(Disc(x, y, 10.0, "plain" if good else "strong"))
        marks.append(Words(x, y - 3.0, str(state.bolt)))
        if not good:
            # A cross beside the number: never told by weight alone.
            marks.append(Stroke(((x + 7, y + 5), (x + 13, y + 11)), "strong"))
            marks.append(Stroke(((x + 7, y + 11), (x + 13, y + 5)), "strong"))
        beyond = radius + 22.0
        torque = "–" if state.torque_nm is None else f"{state.torque_nm:.0f}"
        out_x, out_y = middle + beyond * math.sin(turn), middle + beyond * math.cos(turn)
        marks.append(Words(out_x, out_y - 3.0, torque))
    return Drawing(CIRCLE, CIRCLE, "Bolts, numbered clockwise; last torque in N·m", tuple(marks))


def draw_plot(plot: BoltPlot) -> Drawing:
    """Draw torque over angle for one bolt, the accepted band about its target with it."""
    angle_most = max((max(curve.angle_deg) for curve in plot.curves), default=1.0) or 1.0
    torque_most = max(
        max((max(curve.torque_nm) for curve in plot.curves), default=1.0),
        plot.target_nm * (1.0 + plot.tolerance) * 1.05,
    )
    left, bottom, right, top = _MARGIN

    def place(angle_deg: float, torque_nm: float) -> tuple[float, float]:
        x = left + max(angle_deg, 0.0) / angle_most * (WIDTH - left - right)
        y = bottom + max(torque_nm, 0.0) / torque_most * (HEIGHT - bottom - top)
        return round(x, 2), round(y, 2)

    marks: list[Stroke | Disc | Words] = [
        Stroke((place(0, torque_most), place(0, 0), place(angle_most, 0)), "plain")
    ]
    marks += _scale(angle_most, torque_most, place)
    for share in (1.0 - plot.tolerance, 1.0 + plot.tolerance) if plot.target_nm else ():
        level_nm = plot.target_nm * share
        marks.append(Stroke((place(0, level_nm), place(angle_most, level_nm)), "pale", (2.0, 2.0)))
    for number, curve in enumerate(plot.curves):
        pairs = list(zip(curve.angle_deg, curve.torque_nm, strict=False))
        stride = max(1, math.ceil(len(pairs) / POINTS_MAX))
        points = tuple(place(*pair) for pair in [*pairs[::stride], pairs[-1]])
        weight: Weight = "strong" if curve.is_bad else "plain"
        marks.append(Stroke(points, weight, _DASHES[number % len(_DASHES)]))
        if curve.angle_deg[-1] > NAMED_SHARE * angle_most:
            x, y = max(points, key=lambda point: (point[1], point[0]))
            marks.append(Words(x - 3.0, y - 11.0, curve.label, "end"))
    return Drawing(WIDTH, HEIGHT, f"Bolt {plot.bolt}: torque N·m over angle °", tuple(marks))


def _scale(angle_most: float, torque_most: float, place: Placing) -> list[Words]:
    words = []
    for share in (0.0, 0.5, 1.0):
        x, y = place(angle_most * share, 0)
        words.append(Words(x, y - 10.0, f"{angle_most * share:.0f}"))
        x, y = place(0, torque_most * share)
        words.append(Words(x - 3.0, y - 2.5, f"{torque_most * share:.0f}", "end"))
    return words
