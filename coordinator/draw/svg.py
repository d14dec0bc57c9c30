"""Write a chart as SVG that needs nothing else: no font file, no script, no style from outside.

What a mark is shows in its form: a barrier is a bar across its lanes with a diamond on each of
their lines, a paired span is bracketed between two double bars, a loop is ringed, a block is
dotted, a point where a person is asked has a thick edge. Colour is for exceptions only.

Units: pixels.
"""

from coordinator.draw.chart import Chart
from coordinator.draw.layout import (
    HEAD,
    LINE,
    MARGIN,
    RAIL,
    TEXT,
    TITLE,
    Layout,
    Link,
    Mounted,
    PlacedBox,
    PlacedFrame,
    PlacedGate,
    lay_out,
)
from coordinator.draw.measure import width_of
from coordinator.draw.sheet import ABNORMAL, BAR, INK, PAPER, SOFT, WHITE, Sheet
from coordinator.draw.surround import below, title

_TOP = 196
_LABEL_EVERY = 420
# A tool's name is written again after so many pixels, so that one is in sight on a screen.
_BRACKET = ("one fate for both sides", "one fate")


def to_svg(chart: Chart) -> str:
    """Return the picture as the text of an SVG file."""
    layout = lay_out(chart, top=_TOP)
    width = layout.right(len(chart.lanes) - 1) + MARGIN + RAIL
    sheet = Sheet()
    _heads(sheet, chart, layout)
    for frame in layout.frames:
        _frame(sheet, frame)
    for link in layout.links:
        _link(sheet, layout, link)
    for frame in reversed(layout.frames):
        _frame_head(sheet, frame)
    for mounted in layout.mounted:
        _tool(sheet, layout, mounted)
    for gate in layout.gates:
        _gate(sheet, layout, gate)
    for box in layout.boxes:
        _box(sheet, box)
    _spans(sheet, layout)
    for lane, y in layout.ends:
        sheet.circle(layout.middle(lane), y, 6, fill="none", stroke=INK)
        sheet.circle(layout.middle(lane), y, 3, fill=INK, stroke=INK)
    title(sheet, chart, width)
    height = below(sheet, chart, layout.bottom + 26, width)
    return sheet.document(width, height, chart.title, chart.text)


def _heads(sheet: Sheet, chart: Chart, layout: Layout) -> None:
    for number, lane in enumerate(chart.lanes):
        x, width = layout.left(number), layout.lane_width
        sheet.box(x, layout.top, width, HEAD, fill=INK, stroke=INK, round_=3)
        middle = layout.middle(number)
        sheet.text(
            middle, layout.top + 19, lane.name, size=15, colour=PAPER, weight=700, align="middle"
        )
        said = ("arm with " + ", ".join(lane.tools)) if lane.is_arm else "moved by its operator"
        if width_of(said, 11) > width - 12:
            said = "arm"
        sheet.text(middle, layout.top + 35, said, size=11, colour=PAPER, align="middle")


def _spans(sheet: Sheet, layout: Layout) -> None:
    """Draw a bracket from a paired barrier to the one that closes it, between the two lanes."""
    for number, opened in enumerate(layout.gates):
        if not opened.gate.opens:
            continue
        closed = next((one for one in layout.gates[number + 1 :] if one.gate.is_close), None)
        if closed is None:
            continue
        left, right = layout.right(opened.lanes[0]) + 9, layout.left(opened.lanes[1]) - 9
        top, bottom = opened.y + opened.height + 5, closed.y - 5
        sheet.path(f"M{left + 7:.1f} {top:.1f}h-7V{bottom:.1f}h7", INK, 2.2)
        sheet.path(f"M{right - 7:.1f} {top:.1f}h7V{bottom:.1f}h-7", INK, 2.2)
        fitting = [one for one in _BRACKET if bottom - top > width_of(one, TEXT)]
        for said in fitting[:1]:
            sheet.upright((left + right) / 2 + 4, (top + bottom) / 2, said, TEXT)


def _frame(sheet: Sheet, one: PlacedFrame) -> None:
    is_loop = one.frame.kind == "loop"
    colour, dash, round_ = (INK, "", 9) if is_loop else (SOFT, "2 3", 3)
    sheet.box(
        one.x,
        one.y,
        one.width,
        one.height,
        fill="none",
        stroke=colour,
        thickness=1.5,
        dash=dash,
        round_=round_,
    )


def _frame_head(sheet: Sheet, one: PlacedFrame) -> None:
    is_loop = one.frame.kind == "loop"
    colour = INK if is_loop else SOFT
    # The strip keeps the lane's line off the words.
    sheet.box(one.x + 9, one.y + 3, one.width - 18, one.head - 3, fill=PAPER, stroke="none")
    y = one.y + 17
    for line in one.title:
        sheet.text(one.x + 12, y, line, size=TEXT + 0.5, colour=colour, weight=700)
        y += LINE
    _despite(sheet, one.x + 12, y, one.despite)
    if is_loop:
        # A ring with a head says without a letter that it goes round.
        x, y = one.x + one.width - 22, one.y + 13
        sheet.path(f"M{x:.1f} {y - 5:.1f}a5.5 5.5 0 1 1 -5 3", colour, 1.6)
        sheet.path(f"M{x - 9.5:.1f} {y - 0.5:.1f}l3.6 -4.6l3.4 4.8z", colour, 1, fill=colour)


def _tool(sheet: Sheet, layout: Layout, one: Mounted) -> None:
    x, height = layout.rail(one.lane), one.bottom - one.top - 4
    sheet.box(x, one.top + 2, 18, height, fill=WHITE, stroke=SOFT, thickness=1, round_=4)
    count = max(1, int(height // _LABEL_EVERY))
    for number in range(count):
        y = one.top + height * (number + 0.5) / count
        if height / count > width_of(one.tool, TEXT):
            sheet.upright(x + 13, _beside_gates(layout, one, y), one.tool, TEXT)


def _beside_gates(layout: Layout, one: Mounted, y: float) -> float:
    """Return a height for a label near `y` at which no bar crosses the strip."""
    half = width_of(one.tool, TEXT) / 2 + 6
    bars = [
        (gate.y - half, gate.y + gate.height + half)
        for gate in layout.gates
        if gate.lanes[0] <= one.lane < gate.lanes[-1] and one.lane % 2
    ]
    for upper, lower in bars:
        if upper < y < lower and lower < one.bottom:
            y = lower
    return y


def _link(sheet: Sheet, layout: Layout, one: Link) -> None:
    x = layout.middle(one.lane)
    if one.side is None:
        dash = "2 5" if one.waits else ""
        sheet.path(f"M{x:.1f} {one.top:.1f}V{one.bottom - 1:.1f}", INK, 1.4, dash)
        sheet.head(x, one.bottom - 1)
        if one.waits and one.bottom - one.top > 60:
            sheet.text(x + 9, (one.top + one.bottom) / 2 + 4, "waits", size=11, colour=SOFT)
        return
    start, edge = one.edges
    route = f"M{start:.1f} {one.top:.1f}H{one.side:.1f}V{one.bottom:.1f}H{edge:.1f}"
    sheet.path(route, INK, 1.4)
    sheet.head(edge, one.bottom, degrees=90)


def _box(sheet: Sheet, one: PlacedBox) -> None:
    with sheet.titled(one.box.place):
        sheet.box(
            one.x,
            one.y,
            one.width,
            one.height,
            fill=WHITE,
            stroke=INK,
            thickness=2.2 if one.box.mounts else 1.2,
        )
        if one.box.is_point:
            sheet.box(one.x, one.y, 6, one.height, fill=INK, stroke=INK)
            sheet.box(one.x + one.width - 6, one.y, 6, one.height, fill=INK, stroke=INK)
        y = one.y + 18
        for line in one.title:
            sheet.text(one.x + 12, y, line, size=TITLE, weight=600)
            y += LINE
        for line in one.lines:
            sheet.text(one.x + 12, y, line, size=TEXT, colour=SOFT)
            y += LINE
        _despite(sheet, one.x + 12, y, one.despite)


def _despite(sheet: Sheet, x: float, y: float, lines: tuple[str, ...]) -> None:
    if lines:
        sheet.path(f"M{x:.1f} {y:.1f}l5 -9l5 9z", ABNORMAL, 1.4)
    for number, line in enumerate(lines):
        sheet.text(x + 15, y + LINE * number, line, size=TEXT, colour=ABNORMAL)


def _gate(sheet: Sheet, layout: Layout, one: PlacedGate) -> None:
    """Draw the bar; where it passes a lane that takes no part it is broken."""
    with sheet.titled(" · ".join(one.places)):
        left, right = layout.left(one.lanes[0]) - 6, layout.right(one.lanes[-1]) + 6
        sheet.box(left, one.y, right - left, one.height, fill=BAR, stroke="none", round_=0)
        edges = [(one.y, 3.0), (one.y + one.height, 1.2)]
        if one.gate.opens or one.gate.is_close:
            inner = one.y + one.height - 4 if one.gate.opens else one.y + 4
            edges = [(one.y, 2.2), (inner, 1.0), (one.y + one.height, 2.2)]
        for y, thickness in edges:
            sheet.path(f"M{left:.1f} {y:.1f}H{right:.1f}", INK, thickness)
        _crossings(sheet, layout, one)
        x = (layout.middle(one.lanes[0]) + layout.middle(one.lanes[0] + 1)) / 2
        y = one.y + 17
        for line in one.title:
            sheet.text(x, y, line, size=TITLE + 0.5, colour=INK, weight=700, align="middle")
            y += LINE
        for line in one.lines:
            sheet.text(x, y, line, size=TEXT, colour=SOFT, align="middle")
            y += LINE


def _crossings(sheet: Sheet, layout: Layout, one: PlacedGate) -> None:
    """Draw a diamond in each lane that takes part, and a gap in the bar for any other."""
    for lane in range(one.lanes[0], one.lanes[-1] + 1):
        x, y = layout.middle(lane), one.y + one.height / 2
        if lane in one.lanes:
            sheet.path(f"M{x:.1f} {y - 8:.1f}l8 8l-8 8l-8 -8z", INK, 1.6, fill=WHITE)
        else:
            sheet.box(x - 12, one.y - 2, 24, one.height + 4, fill=PAPER, stroke="none")
            if not any(ended == lane and end < one.y for ended, end in layout.ends):
                sheet.path(f"M{x:.1f} {one.y - 2:.1f}v{one.height + 4:.1f}", INK, 1.4)
