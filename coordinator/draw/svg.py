"""Write a chart as SVG that needs nothing else: no font file, no script, no style from outside.

What a mark is shows in its form; colour only helps: a barrier is a bar across its lanes with a
diamond on each of their lines, a paired span is hatched between two double bars, a loop has a
ring with an arrowhead, a block is dotted, and an exception carries a triangle.

Units: pixels.
"""

from math import cos, pi, sin

from coordinator.draw.chart import Chart
from coordinator.draw.layout import (
    HEAD,
    LINE,
    MARGIN,
    RAIL,
    Layout,
    Link,
    Mounted,
    PlacedBox,
    PlacedFrame,
    PlacedGate,
    broken,
    lay_out,
)
from coordinator.draw.sheet import INK, Sheet

_LOOP, _BLOCK, _PAIR, _DESPITE, _SOFT = "#1f6f68", "#7a7468", "#9a6a12", "#8f2f10", "#56616d"
_TOP = 196
_LABEL_EVERY = 420
# A tool's name is written again after so many pixels, so that one is in sight on a screen.


def to_svg(chart: Chart) -> str:
    """Return the picture as the text of an SVG file."""
    layout = lay_out(chart, top=_TOP)
    last = len(chart.lanes) - 1
    width = layout.right(last) + MARGIN + RAIL
    sheet = Sheet()
    _heads(sheet, chart, layout)
    _spans(sheet, layout)
    for frame in layout.frames:
        _frame(sheet, frame)
    for link in layout.links:
        _link(sheet, layout, link)
    for frame in layout.frames:
        _frame_head(sheet, frame)
    for box in layout.boxes:
        _box(sheet, box)
    for gate in layout.gates:
        _gate(sheet, layout, gate)
    for mounted in layout.mounted:
        _tool(sheet, layout, mounted)
    for lane, y in layout.ends:
        sheet.circle(layout.middle(lane), y, 6, "none", INK)
        sheet.circle(layout.middle(lane), y, 3, INK, INK)
    _title(sheet, chart, width)
    height = _below(sheet, chart, layout, width)
    return sheet.document(width, height, chart.title, chart.text)


def _title(sheet: Sheet, chart: Chart, width: float) -> None:
    sheet.text(MARGIN, 46, chart.title, size=25, weight=700)
    sheet.text(MARGIN, 70, chart.text, size=14)
    for number, fact in enumerate(chart.facts):
        sheet.text(MARGIN, 98 + 18 * number, fact, size=12.5, colour=_SOFT)
    form = "every bolt, pair and round by itself" if chart.is_unrolled else "loops folded"
    sheet.text(MARGIN, 98 + 18 * len(chart.facts), f"{form}; time runs downwards", 12.5, _SOFT)
    if chart.bolts:
        _bolt_circle(sheet, chart, width - MARGIN - 96, 100)


def _bolt_circle(sheet: Sheet, chart: Chart, x: float, y: float) -> None:
    """Draw the joint from above: whose bolt each is, and the turn in which its pair is pulled."""
    radius, count = 56.0, len(chart.bolts)
    size = 9.0 if count <= 12 else 6.0
    sheet.circle(x, y, radius, "none", _SOFT, dash="2 4")
    for bolt in chart.bolts:
        angle = 2 * pi * (bolt.number - 1) / count - pi / 2
        out_x, out_y = cos(angle), sin(angle)
        at_x, at_y = x + radius * out_x, y + radius * out_y
        if bolt.lane == 0:
            sheet.circle(at_x, at_y, size, "#ffffff", INK)
        else:
            sheet.box(at_x - size, at_y - size, 2 * size, 2 * size, "#ffffff", INK)
        sheet.text(at_x, at_y + size * 0.42, str(bolt.number), size * 1.2, align="middle")
        turn_x, turn_y = x + (radius + 21) * out_x, y + (radius + 21) * out_y + 4
        sheet.text(turn_x, turn_y, f"{bolt.turn}.", 10, _SOFT, align="middle")
    first, second = (lane.name for lane in chart.lanes[:2])
    sheet.text(x, y - 4, f"○ {first}", 11, align="middle")
    sheet.text(x, y + 11, f"□ {second}", 11, align="middle")
    sheet.text(x - radius - 40, y - 4, "outside: turn", 10.5, _SOFT, align="end")
    sheet.text(x - radius - 40, y + 9, "of the pair", 10.5, _SOFT, align="end")


def _heads(sheet: Sheet, chart: Chart, layout: Layout) -> None:
    for number, lane in enumerate(chart.lanes):
        x, width = layout.left(number), layout.lane_width
        sheet.box(x, layout.top, width, HEAD, INK, INK, round_=3)
        middle = layout.middle(number)
        sheet.text(middle, layout.top + 19, lane.name, 15, "#ffffff", 700, "middle")
        said = ("arm with " + ", ".join(lane.tools)) if lane.is_arm else "moved by its operator"
        sheet.text(middle, layout.top + 35, said, 11, "#e6e9ec", align="middle")
        sheet.line(middle, layout.top + HEAD, middle, layout.top + HEAD, INK)


def _spans(sheet: Sheet, layout: Layout) -> None:
    """Hatch what lies between a paired barrier and the one that closes it."""
    for number, opened in enumerate(layout.gates):
        if not opened.gate.opens:
            continue
        closed = next((one for one in layout.gates[number + 1 :] if one.gate.is_close), None)
        if closed is None:
            continue
        left, right = layout.left(opened.lanes[0]) - 6, layout.right(opened.lanes[-1]) + 6
        top, height = opened.y + opened.height, closed.y - opened.y - opened.height
        sheet.box(left, top, right - left, height, "url(#paired)", "none")
        x = (layout.right(opened.lanes[0]) + layout.left(opened.lanes[-1])) / 2
        if height > 110:
            sheet.upright(x + 4, top + height / 2, "one fate for both sides", 11.5, _PAIR)


def _frame(sheet: Sheet, one: PlacedFrame) -> None:
    is_loop = one.frame.kind == "loop"
    colour = _LOOP if is_loop else _BLOCK
    dash = "" if is_loop else "2 3"
    sheet.box(one.x, one.y, one.width, one.height, "none", colour, 1.6, dash=dash, round_=6)


def _frame_head(sheet: Sheet, one: PlacedFrame) -> None:
    is_loop = one.frame.kind == "loop"
    colour = _LOOP if is_loop else _BLOCK
    sheet.text(one.x + 12, one.y + 16, one.frame.title, 12, colour, 700, halo=True)
    if one.frame.despite:
        _despite(sheet, one.x + 12, one.y + 16 + LINE, one.frame.despite)
    if is_loop:
        # A ring with a head says without a letter that it goes round.
        x, y = one.x + one.width - 22, one.y + 12
        sheet.path(f"M{x:.1f} {y - 5:.1f}a5.5 5.5 0 1 1 -5 3", colour, 1.6)
        sheet.path(f"M{x - 9.5:.1f} {y - 0.5:.1f}l3.6 -4.6l3.4 4.8z", colour, 1, fill=colour)


def _tool(sheet: Sheet, layout: Layout, one: Mounted) -> None:
    x, height = layout.rail(one.lane), one.bottom - one.top - 4
    sheet.box(x, one.top + 2, 18, height, "#ffffff", _SOFT, 1, round_=4)
    count = max(1, int(height // _LABEL_EVERY))
    for number in range(count):
        y = one.top + height * (number + 0.5) / count
        if height / count > 7 * len(one.tool):
            sheet.upright(x + 13, y, one.tool, 11.5, INK)


def _link(sheet: Sheet, layout: Layout, one: Link) -> None:
    x = layout.middle(one.lane)
    if one.side is None:
        dash = "2 5" if one.waits else ""
        sheet.path(f"M{x:.1f} {one.top:.1f}V{one.bottom - 1:.1f}", INK, 1.4, dash)
        sheet.head(x, one.bottom - 1)
        if one.waits and one.bottom - one.top > 60:
            sheet.text(x + 9, (one.top + one.bottom) / 2 + 4, "waits", 11, _SOFT)
        return
    start, edge = one.edges
    route = f"M{start:.1f} {one.top:.1f}H{one.side:.1f}V{one.bottom:.1f}H{edge:.1f}"
    sheet.path(route, INK, 1.4)
    sheet.head(edge, one.bottom, degrees=90)


def _box(sheet: Sheet, one: PlacedBox) -> None:
    is_change = bool(one.box.mounts)
    sheet.box(one.x, one.y, one.width, one.height, "#ffffff", INK, 2.2 if is_change else 1.2)
    sheet.text(one.x + 12, one.y + 18, one.box.title, 13, weight=600)
    for number, line in enumerate(one.lines, 1):
        sheet.text(one.x + 12, one.y + 18 + LINE * number, line, 11.5, _SOFT)
    if one.box.despite:
        _despite(sheet, one.x + 12, one.y + 18 + LINE * (len(one.lines) + 1), one.box.despite)


def _despite(sheet: Sheet, x: float, y: float, interlocks: tuple[str, ...]) -> None:
    sheet.path(f"M{x:.1f} {y:.1f}l5 -9l5 9z", _DESPITE, 1.4)
    sheet.text(x + 15, y, f"despite {', '.join(interlocks)}", 11.5, _DESPITE, halo=True)


def _gate(sheet: Sheet, layout: Layout, one: PlacedGate) -> None:
    """Draw the bar; where it passes a lane that takes no part it is broken."""
    is_paired = bool(one.gate.opens) or one.gate.is_close
    colour = _PAIR if is_paired else INK
    left, right = layout.left(one.lanes[0]) - 6, layout.right(one.lanes[-1]) + 6
    sheet.box(left, one.y, right - left, one.height, "#eef1f4", "none")
    edges = [(one.y, 3.0), (one.y + one.height, 1.2)]
    if is_paired:
        edges = [(one.y, 2.2), (one.y + 4, 1.0), (one.y + one.height - 4, 1.0)]
        edges.append((one.y + one.height, 2.2))
    for y, thickness in edges:
        sheet.line(left, y, right, y, colour, thickness)
    for lane in range(one.lanes[0], one.lanes[-1] + 1):
        x, y = layout.middle(lane), one.y + one.height / 2
        if lane in one.lanes:
            sheet.path(f"M{x:.1f} {y - 8:.1f}l8 8l-8 8l-8 -8z", colour, 1.6, fill="#ffffff")
        else:
            sheet.box(x - 12, one.y - 2, 24, one.height + 4, "#fbfaf6", "none")
            sheet.path(f"M{x:.1f} {one.y - 2:.1f}v{one.height + 4:.1f}", INK, 1.4)
    x = (layout.middle(one.lanes[0]) + layout.middle(one.lanes[0] + 1)) / 2
    lines = [f"paired until {one.gate.opens}"] if one.gate.opens else []
    lines += one.lines
    y = one.y + one.height / 2 - LINE * len(lines) / 2 + 5
    sheet.text(x, y, one.gate.title, 13.5, colour, 700, "middle")
    for number, line in enumerate(lines, 1):
        sheet.text(x, y + LINE * number, line, 11.5, _SOFT, align="middle")


def _below(sheet: Sheet, chart: Chart, layout: Layout, width: float) -> float:
    """Write the notes and the legend, and return where the paper ends."""
    y = layout.bottom + 26
    sheet.line(MARGIN, y, width - MARGIN, y, _SOFT, 1)
    for note in chart.notes:
        y += 26
        sheet.text(MARGIN, y, note.heading, 13, weight=700)
        for name, said in note.rows:
            y += 19
            sheet.text(MARGIN, y, name, 12, weight=600)
            lines = broken(said, width - 2 * MARGIN - 150)
            for line in lines:
                sheet.text(MARGIN + 150, y, line, 12, _SOFT)
                y += LINE
            y -= LINE
    y = _legend(sheet, y + 34)
    for line in broken(_CAUTION, width - 2 * MARGIN):
        sheet.text(MARGIN, y, line, 11.5, _SOFT)
        y += LINE
    return y + 14


_CAUTION = (
    "Heavy loads hang overhead and stored pressure can injure. The holds shown here are "
    "operational; they replace no guarding, local code or licensed practice."
)


def _legend(sheet: Sheet, y: float) -> float:
    """Draw one of each mark with its meaning; return where it ends."""
    x = MARGIN
    sheet.line(x, y - 7, x + 34, y - 7, INK, 3)
    sheet.path(f"M{x + 17:.1f} {y - 12:.1f}l6 6l-6 6l-6 -6z", INK, 1.4, fill="#ffffff")
    sheet.text(x + 44, y, "barrier: nobody passes alone", 11.5)
    x += 228
    sheet.box(x, y - 12, 34, 16, "url(#paired)", _PAIR, 1)
    sheet.text(x + 44, y, "paired span: one fate for both", 11.5)
    x += 240
    sheet.box(x, y - 12, 34, 16, "none", _LOOP, 1.6, round_=4)
    sheet.text(x + 44, y, "loop", 11.5)
    x += 88
    sheet.box(x, y - 12, 34, 16, "none", _BLOCK, 1.6, dash="2 3", round_=4)
    sheet.text(x + 44, y, "block", 11.5)
    x += 96
    sheet.path(f"M{x:.1f} {y - 4:.1f}h34", INK, 1.4, "2 5")
    sheet.head(x + 36, y - 4, degrees=270)
    sheet.text(x + 44, y, "waits for another lane", 11.5)
    return y + 26
