"""Draw how a property comes to be broken: each party's course beside the others', top to bottom.

What goes right is grey, what goes wrong is in the colour of exceptions and bears a triangle; at the
foot stands what is broken by it, and below that how everybody stands then. Of a long one runs of
what goes well are left out, and each gap says how many.

Units: pixels.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from coordinator.draw.measure import broken
from coordinator.draw.rows import Gap, rows_of
from coordinator.draw.sheet import ABNORMAL, INK, PAPER, SOFT, WHITE, Sheet
from coordinator.prove import Violation
from coordinator.prove.monitors import Happened, Standing

_LEFT, _TOP, _HEAD, _GAP = 64.0, 74.0, 34.0, 10.0
_COLUMN, _BETWEEN, _PAD, _LINE = 250.0, 18.0, 10.0, 16.0
_SIZE, _TITLE = 12.0, 13.0


@dataclass(frozen=True, slots=True)
class _Placed:
    """One box with its lines, and how high it is; a gap has none."""

    lane: int
    lines: tuple[str, ...]
    """Those with a star first are bold."""
    height: float
    is_marked: bool = False
    """In the colour of exceptions."""
    is_cause: bool = False
    number: int = 0
    """0 where it has none."""


def draw_counterexample(
    name: str,
    parties: Sequence[str],
    violation: Violation,
    promised: str,
    standings: tuple[str, Sequence[Standing]] = ("", ()),
) -> str:
    """Return the picture of a counterexample as the text of an SVG file.

    Args:
        name: Of the sequence.
        parties: Names of the lanes.
        violation: What is broken, and how.
        promised: The sentence of the property.
        standings: A heading, and how each lane, then floor and people, stand at the end.
    """
    heads = (*parties, "floor and people")
    width = _LEFT + len(heads) * (_COLUMN + _BETWEEN) + 6
    rows = rows_of(violation.course, parties)
    placed = [_gap(row) if isinstance(row, Gap) else _place(row.one, row.number) for row in rows]
    placed += [_place(one, 0, "breaks it: ") for one in violation.broken_by]
    bottom = _TOP + _HEAD + _GAP + sum(one.height + _GAP for one in placed)
    sheet = Sheet()
    sheet.text(16, 30, f"{name}: {violation.property} is broken", size=18, weight=700)
    sheet.text(16, 52, f"promised: {promised}", size=_TITLE, colour=SOFT)
    for lane, head in enumerate(heads):
        _column(sheet, lane, head, bottom)
    y = _TOP + _HEAD + _GAP
    for box in placed:
        _box(sheet, box, len(parties), y)
        y += box.height + _GAP
    foot = _foot(sheet, violation, width, bottom)
    foot = _ends(sheet, *standings, foot) if standings[1] else foot
    text = f"{promised}. Broken: {violation.text}"
    return sheet.document(width, foot, f"How {violation.property} is broken in {name}", text)


def _place(one: Happened, number: int, before: str = "") -> _Placed:
    room = _COLUMN - 2 * _PAD - (18 if one.is_cause else 0)
    lines = _lines(f"{before}{one.words}", (one.step, one.place), room)
    is_marked = one.is_cause or bool(before)
    return _Placed(one.lane, lines, _height(lines), is_marked, one.is_cause, number)


def _gap(gap: Gap) -> _Placed:
    return _Placed(0, (f"{gap.first} to {gap.last}: {gap.words}",), _LINE + 8)


def _lines(title: str, more: Sequence[str], room: float) -> tuple[str, ...]:
    lines = [f"*{line}" for line in broken(title, room, _TITLE, bold=True)]
    return (*lines, *(line for one in more if one for line in broken(one, room, _SIZE)))


def _height(lines: Sequence[str]) -> float:
    return len(lines) * _LINE + 2 * _PAD - 4


def _x(lane: int) -> float:
    return _LEFT + lane * (_COLUMN + _BETWEEN)


def _column(sheet: Sheet, lane: int, head: str, bottom: float) -> None:
    middle = _x(lane) + _COLUMN / 2
    sheet.path(f"M{middle:.1f} {_TOP + _HEAD:.1f}V{bottom:.1f}", SOFT, 1.0, "2 5")
    sheet.box(_x(lane), _TOP, _COLUMN, _HEAD, fill=INK, stroke=INK, round_=3)
    sheet.text(middle, _TOP + 22, head, size=15, colour=PAPER, weight=700, align="middle")


def _box(sheet: Sheet, placed: _Placed, others: int, y: float) -> None:
    x = _x(placed.lane if placed.lane >= 0 else others)
    if not placed.lines[0].startswith("*"):
        _cut(sheet, placed.lines[0], others, y)
        return
    colour = ABNORMAL if placed.is_marked else INK
    if placed.number:
        number = str(placed.number)
        sheet.text(_LEFT - 14, y + 21, number, size=_SIZE, colour=SOFT, align="end")
    thickness = 2.2 if placed.is_marked else 1.2
    sheet.box(x, y, _COLUMN, placed.height, fill=WHITE, stroke=colour, thickness=thickness)
    if placed.is_cause:
        sheet.path(f"M{x + _COLUMN - 24:.1f} {y + 21:.1f}l7 -13l7 13z", ABNORMAL, 1.8)
    _write(sheet, placed.lines, x, y, colour)


def _write(sheet: Sheet, lines: Sequence[str], x: float, y: float, colour: str) -> None:
    line_y = y + _PAD + 11
    for line in lines:
        if line.startswith("*"):
            sheet.text(x + _PAD, line_y, line[1:], size=_TITLE, colour=colour, weight=600)
        else:
            sheet.text(x + _PAD, line_y, line, size=_SIZE, colour=SOFT)
        line_y += _LINE


def _cut(sheet: Sheet, words: str, others: int, y: float) -> None:
    """Draw a gap across all columns."""
    width = _x(others) + _COLUMN - _LEFT
    sheet.box(_LEFT, y, width, _LINE + 8, fill=PAPER, stroke=SOFT, thickness=0.8)
    sheet.text(_LEFT + _PAD, y + 16, words, size=_SIZE, colour=SOFT)


def _ends(sheet: Sheet, heading: str, standings: Sequence[Standing], top: float) -> float:
    """Draw how everybody stands at the end, each in its column; return where the picture ends."""
    sheet.text(_LEFT, top + 8, heading.capitalize(), size=15, weight=700)
    room = _COLUMN - 2 * _PAD
    boxes = []
    for one in standings[:-1]:
        waits = tuple(f"waits for {words}" for words in one.waits)
        boxes.append(_lines(f"{one.who}: {one.state}", (one.step, one.place, *waits), room))
    boxes.append(_lines(standings[-1].state, standings[-1].waits, room))
    height = max(_height(lines) for lines in boxes)
    for lane, lines in enumerate(boxes):
        sheet.box(_x(lane), top + 22, _COLUMN, height, fill=WHITE, stroke=INK, thickness=1.2)
        _write(sheet, lines, _x(lane), top + 22, INK)
    return top + height + 44


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
