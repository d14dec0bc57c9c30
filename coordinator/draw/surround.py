"""Write what stands around the lanes: the title, the bolts from above, the notes, the key.

Units: pixels.
"""

from math import cos, pi, sin

from coordinator.draw.chart import Chart, Note
from coordinator.draw.layout import LINE, MARGIN
from coordinator.draw.measure import broken, width_of
from coordinator.draw.sheet import ABNORMAL, INK, SOFT, WHITE, Sheet

_CAUTION = (
    "Heavy loads hang overhead and stored pressure can injure. The holds shown here are "
    "operational; they replace no guarding, local code or licensed practice."
)
_CIRCLE = 320.0
"""Width kept for the bolts."""
_NAMES = 190.0
"""Width kept for the names of notes."""


def title(sheet: Sheet, chart: Chart, width: float) -> None:
    """Write name, text and figures at the top, and the bolts beside them."""
    room = width - 2 * MARGIN - (_CIRCLE if chart.bolts else 0)
    size = 25.0
    while size > 12 and width_of(chart.title, size, bold=True) > room:
        size -= 1
    sheet.text(MARGIN, 46, chart.title, size=size, weight=700)
    form = "every bolt, pair and round by itself" if chart.is_unrolled else "loops folded"
    y = 70.0
    for line in broken(chart.text, room, 14)[:2]:
        sheet.text(MARGIN, y, line, size=14)
        y += 17
    y += 8
    for fact in (*chart.facts, f"{form}; time runs downwards"):
        for line in broken(fact, room, 12)[:2]:
            sheet.text(MARGIN, y, line, size=12, colour=SOFT)
            y += 16
    if chart.bolts:
        _bolt_circle(sheet, chart, width - MARGIN - 96, 100)


def _bolt_circle(sheet: Sheet, chart: Chart, x: float, y: float) -> None:
    """Draw the joint from above: whose bolt each is, and the turn in which its pair is pulled."""
    radius, count = 56.0, len(chart.bolts)
    size = 9.0 if count <= 12 else 6.0
    sheet.circle(x, y, radius, fill="none", stroke=SOFT, dash="2 4")
    for bolt in chart.bolts:
        angle = 2 * pi * (bolt.number - 1) / count - pi / 2
        out_x, out_y = cos(angle), sin(angle)
        at_x, at_y = x + radius * out_x, y + radius * out_y
        if bolt.lane == 0:
            sheet.circle(at_x, at_y, size, fill=WHITE, stroke=INK)
        else:
            sheet.box(at_x - size, at_y - size, 2 * size, 2 * size, fill=WHITE, stroke=INK)
        sheet.text(at_x, at_y + size * 0.42, str(bolt.number), size=size * 1.2, align="middle")
        turn_x, turn_y = x + (radius + 21) * out_x, y + (radius + 21) * out_y + 4
        sheet.text(turn_x, turn_y, f"{bolt.turn}.", size=10, colour=SOFT, align="middle")
    first, second = (lane.name for lane in chart.lanes[:2])
    if max(width_of(first, 11), width_of(second, 11)) < 2 * radius - 44:
        sheet.text(x, y - 4, f"○ {first}", size=11, align="middle")
        sheet.text(x, y + 11, f"□ {second}", size=11, align="middle")
    for number, line in enumerate(("inside: whose bolt", "outside: turn", "of the pair")):
        sheet.text(x - radius - 40, y - 12 + 14 * number, line, size=10.5, colour=SOFT, align="end")


def below(sheet: Sheet, chart: Chart, y: float, width: float) -> float:
    """Write the notes and the key from `y` on, and return where the paper ends."""
    sheet.path(f"M{MARGIN} {y:.1f}H{width - MARGIN:.1f}", SOFT, 1)
    for note in chart.notes:
        y = _note(sheet, note, y + 26, width)
    y = _key(sheet, y + 34, width)
    for line in broken(_CAUTION, width - 2 * MARGIN, 11.5):
        sheet.text(MARGIN, y, line, size=11.5, colour=SOFT)
        y += LINE
    return y + 14


def _note(sheet: Sheet, note: Note, y: float, width: float) -> float:
    sheet.text(MARGIN, y, note.heading, size=13, weight=700)
    for name, said in note.rows:
        y += 19
        names = broken(name, _NAMES - 12, 12, bold=True)
        lines = broken(said, width - 2 * MARGIN - _NAMES, 12)
        for number, line in enumerate(names):
            sheet.text(MARGIN, y + LINE * number, line, size=12, weight=600)
        for number, line in enumerate(lines):
            sheet.text(MARGIN + _NAMES, y + LINE * number, line, size=12, colour=SOFT)
        y += LINE * (max(len(names), len(lines)) - 1)
    return y


def _key(sheet: Sheet, y: float, width: float) -> float:
    """Draw one of each mark with its meaning; return where it ends."""
    x = float(MARGIN)
    for kind, said in (
        ("barrier", "barrier: nobody passes alone"),
        ("paired", "paired span: one fate for both sides"),
        ("loop", "loop"),
        ("block", "block"),
        ("point", "hold or witness point"),
        ("waits", "waits for another lane"),
        ("despite", "moves despite an interlock"),
    ):
        needed = 44 + width_of(said, 11.5) + 16
        if x > MARGIN and x + needed > width - MARGIN:
            x, y = float(MARGIN), y + 24
        _mark(sheet, kind, x, y)
        sheet.text(x + 44, y, said, size=11.5)
        x += needed
    return y + 28


def _mark(sheet: Sheet, kind: str, x: float, y: float) -> None:
    match kind:
        case "barrier":
            sheet.path(f"M{x:.1f} {y - 4:.1f}h34", INK, 3)
            sheet.path(f"M{x + 17:.1f} {y - 10:.1f}l6 6l-6 6l-6 -6z", INK, 1.4, fill=WHITE)
        case "paired":
            sheet.path(f"M{x + 14:.1f} {y - 12:.1f}h-7v16h7", INK, 2.2)
            sheet.path(f"M{x + 20:.1f} {y - 12:.1f}h7v16h-7", INK, 2.2)
        case "loop":
            sheet.box(x, y - 12, 34, 16, fill="none", stroke=INK, thickness=1.5, round_=7)
        case "block":
            sheet.box(
                x, y - 12, 34, 16, fill="none", stroke=SOFT, thickness=1.5, dash="2 3", round_=3
            )
        case "point":
            sheet.box(x, y - 12, 34, 16, fill=WHITE, stroke=INK)
            sheet.box(x, y - 12, 5, 16, fill=INK, stroke=INK)
            sheet.box(x + 29, y - 12, 5, 16, fill=INK, stroke=INK)
        case "waits":
            sheet.path(f"M{x:.1f} {y - 4:.1f}h34", INK, 1.4, "2 5")
            sheet.head(x + 36, y - 4, degrees=270)
        case _:
            sheet.path(f"M{x + 12:.1f} {y:.1f}l5 -9l5 9z", ABNORMAL, 1.4)
