"""Draw how a property comes to be broken: each party's course beside the others', top to bottom.

What goes right is grey, what goes wrong is in the colour of exceptions and bears a triangle; at the
foot stands what is broken by it.

Units: pixels.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from coordinator.draw.measure import broken
from coordinator.draw.sheet import ABNORMAL, INK, PAPER, SOFT, WHITE, Sheet
from coordinator.prove import Violation
from coordinator.prove.monitors import Happened

_LEFT, _TOP, _HEAD, _GAP = 64.0, 74.0, 34.0, 10.0
_COLUMN, _BETWEEN, _PAD, _LINE = 250.0, 18.0, 10.0, 16.0
_SIZE, _TITLE = 12.0, 13.0


@dataclass(frozen=True, slots=True)
class _Placed:
    """One happening with its lines, and how high its box is."""

    one: Happened
    lines: tuple[str, ...]
    height: float


def draw_counterexample(
    name: str, parties: Sequence[str], violation: Violation, promised: str
) -> str:
    """Return the picture of a counterexample as the text of an SVG file.

    Args:
        name: Of the sequence.
        parties: Names of the lanes.
        violation: What is broken, and how.
        promised: The sentence of the property.
    """
    heads = (*parties, "floor and people")
    width = _LEFT + len(heads) * (_COLUMN + _BETWEEN) + 6
    placed = [_place(one) for one in violation.course]
    bottom = _TOP + _HEAD + _GAP + sum(one.height + _GAP for one in placed)
    sheet = Sheet()
    sheet.text(16, 30, f"{name}: {violation.property} is broken", size=18, weight=700)
    sheet.text(16, 52, f"promised: {promised}", size=_TITLE, colour=SOFT)
    for lane, head in enumerate(heads):
        _column(sheet, lane, head, bottom)
    y = _TOP + _HEAD + _GAP
    for number, box in enumerate(placed, 1):
        _box(sheet, number, box, len(parties), y)
        y += box.height + _GAP
    foot = _foot(sheet, violation, width, bottom)
    text = f"{promised}. Broken: {violation.text}"
    return sheet.document(width, foot, f"How {violation.property} is broken in {name}", text)


def _place(one: Happened) -> _Placed:
    room = _COLUMN - 2 * _PAD - (18 if one.is_cause else 0)
    lines = broken(one.words, room, _TITLE, bold=True)
    count = len(lines)
    lines = [*lines, *(broken(one.step, room, _SIZE) if one.step else ())]
    lines = [*lines, *(broken(one.place, room, _SIZE) if one.place else ())]
    marked = tuple(f"*{line}" if at < count else line for at, line in enumerate(lines))
    return _Placed(one, marked, len(lines) * _LINE + 2 * _PAD - 4)


def _x(lane: int) -> float:
    return _LEFT + lane * (_COLUMN + _BETWEEN)


def _column(sheet: Sheet, lane: int, head: str, bottom: float) -> None:
    middle = _x(lane) + _COLUMN / 2
    sheet.path(f"M{middle:.1f} {_TOP + _HEAD:.1f}V{bottom:.1f}", SOFT, 1.0, "2 5")
    sheet.box(_x(lane), _TOP, _COLUMN, _HEAD, fill=INK, stroke=INK, round_=3)
    sheet.text(middle, _TOP + 22, head, size=15, colour=PAPER, weight=700, align="middle")


def _box(sheet: Sheet, number: int, placed: _Placed, others: int, y: float) -> None:
    one = placed.one
    x = _x(one.lane if one.lane >= 0 else others)
    colour = ABNORMAL if one.is_cause else INK
    sheet.text(_LEFT - 14, y + 21, str(number), size=_SIZE, colour=SOFT, align="end")
    thickness = 2.2 if one.is_cause else 1.2
    sheet.box(x, y, _COLUMN, placed.height, fill=WHITE, stroke=colour, thickness=thickness)
    if one.is_cause:
        sheet.path(f"M{x + _COLUMN - 24:.1f} {y + 21:.1f}l7 -13l7 13z", ABNORMAL, 1.8)
    line_y = y + _PAD + 11
    for line in placed.lines:
        if line.startswith("*"):
            sheet.text(x + _PAD, line_y, line[1:], size=_TITLE, colour=colour, weight=600)
        else:
            sheet.text(x + _PAD, line_y, line, size=_SIZE, colour=SOFT)
        line_y += _LINE


def _foot(sheet: Sheet, violation: Violation, width: float, bottom: float) -> float:
    """Draw what is broken across all columns, and return where the picture ends."""
    lines = broken(violation.text, width - _LEFT - 60, 14, bold=True)
    height = len(lines) * 20 + 16
    sheet.box(_LEFT, bottom, width - _LEFT - 24, height, fill=WHITE, stroke=ABNORMAL, thickness=3)
    y = bottom + 24
    for line in lines:
        sheet.text(_LEFT + 14, y, line, size=14, colour=ABNORMAL, weight=700)
        y += 20
    went = f"{violation.causes} thing{'s' if violation.causes != 1 else ''} went wrong on the way"
    sheet.text(_LEFT, bottom + height + 22, f"{went}; the shortest way there is.", size=_SIZE)
    return bottom + height + 40
