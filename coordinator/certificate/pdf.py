"""Write a certificate as PDF: same content as the HTML, pages numbered, same bytes each time."""

import io
from collections.abc import Sequence
from html import escape
from typing import Any

from reportlab.graphics import shapes
from reportlab.lib.colors import HexColor, white
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    KeepTogether,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
    TableStyle,
)

from coordinator.certificate.content import (
    BOLT_COLUMNS,
    SIGNATURES,
    TOOL_COLUMNS,
    Certificate,
)
from coordinator.certificate.drawing import Disc, Drawing, Stroke, Words, draw_circle, draw_plot

_MARGIN = 42.0
_WIDTH = A4[0] - 2 * _MARGIN
_TEXT = ParagraphStyle("text", fontName="Helvetica", fontSize=8.5, leading=11)
_CELL = ParagraphStyle("cell", parent=_TEXT, fontSize=7.5, leading=9)
_TITLE = ParagraphStyle("title", parent=_TEXT, fontName="Helvetica-Bold", fontSize=15, leading=19)
_HEAD = ParagraphStyle(
    "head", parent=_TEXT, fontName="Helvetica-Bold", fontSize=10.5, leading=14, spaceBefore=9
)
_PEN = {"plain": ("#1a1a1a", 0.7), "strong": ("#000000", 1.6), "pale": ("#8a8a8a", 0.5)}
_BOLT_WIDTHS = (28, 46, 38, 22, 32, 46, 46, 40, 64, 149)


def to_pdf(made: Certificate) -> bytes:
    """Return the certificate as PDF."""
    sink = io.BytesIO()
    document = SimpleDocTemplate(
        sink,
        pagesize=A4,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=_MARGIN + 12,
        title=f"Certificate: {made.title}",
        author="bothsides",
        invariant=1,  # No date of making and no random identifier: same data, same bytes.
    )
    document.build(_story(made), canvasmaker=_numbering(made))
    return sink.getvalue()


def _story(made: Certificate) -> list[Any]:
    story: list[Any] = [Paragraph(f"Certificate: {_plain(made.title)}", _TITLE), Spacer(1, 4)]
    if made.banner:
        story += [_boxed(made.banner), Spacer(1, 4)]
    story.append(Paragraph(f"<b>{_plain(made.verdict)}</b>", _TEXT))
    story += _section("Joint and run", _table((), made.facts, (110, _WIDTH - 110)))
    story += _section("Tools and calibration", _table(TOOL_COLUMNS, made.tools))
    story += _section("People", *_lines(made.people))
    story += _section("Files, SHA-256", _table(("file", "digest"), made.files))
    circle = _picture(draw_circle(made.circle))
    story.append(KeepTogether([Paragraph("Bolt circle", _HEAD), Spacer(1, 3), *circle]))
    story += _section("Records", _table(BOLT_COLUMNS, made.bolts, _BOLT_WIDTHS))
    story += _section("Exceptions", *_lines(made.exceptions or ("none",)))
    story += _section("Torque over angle", _plots(made))
    story += _section("Cautions", *_lines(made.cautions))
    story.append(KeepTogether([Paragraph("Signatures", _HEAD), Spacer(1, 3), _signatures()]))
    story += _section("Record head", Paragraph(_plain(made.head), _CELL))
    return story


def _section(title: str, *content: Any) -> list[Any]:
    head = [Paragraph(title, _HEAD), Spacer(1, 3)]
    if content and not isinstance(content[0], Table):
        return [KeepTogether([*head, content[0]]), *content[1:]]
    return [*head, *content]


def _plain(text: str) -> str:
    return escape(text)


def _lines(lines: Sequence[str]) -> list[Any]:
    return [Paragraph(_plain(line), _TEXT) for line in lines]


def _boxed(text: str) -> Table:
    table = Table([[Paragraph(f"<b>{escape(text)}</b>", _TEXT)]], colWidths=[_WIDTH])
    table.setStyle(TableStyle([("BOX", (0, 0), (-1, -1), 1.5, HexColor("#000000"))]))
    return table


def _table(
    columns: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float] | None = None
) -> Table:
    if not rows:
        rows = (("none noted", *[""] * (max(len(columns), 2) - 1)),)
    cells = [[Paragraph(f"<b>{_plain(name)}</b>", _CELL) for name in columns]] if columns else []
    cells += [[Paragraph(_plain(cell), _CELL) for cell in row] for row in rows]
    count = len(cells[0])
    scale = _WIDTH / sum(widths) if widths else 1.0
    made = Table(
        cells,
        colWidths=[w * scale for w in widths] if widths else [_WIDTH / count] * count,
        repeatRows=1 if columns else 0,
    )
    made.setStyle(
        TableStyle(
            [
                ("GRID", (0, 0), (-1, -1), 0.4, HexColor("#8a8a8a")),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("TOPPADDING", (0, 0), (-1, -1), 1.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
            ]
        )
    )
    return made


def _picture(drawing: Drawing) -> list[Any]:
    return [Paragraph(_plain(drawing.title), _CELL), _shape(drawing)]


def _plots(made: Certificate) -> Any:
    if not made.plots:
        return Paragraph("no samples", _TEXT)
    cells = [_picture(draw_plot(plot)) for plot in made.plots]
    rows = [cells[place : place + 2] for place in range(0, len(cells), 2)]
    rows = [row if len(row) == 2 else [*row, []] for row in rows]
    return Table(rows, colWidths=[_WIDTH / 2] * 2)


def _signatures() -> Table:
    cells = [Paragraph(f"{name}<br/><br/><br/>name, date, signature", _TEXT) for name in SIGNATURES]
    table = Table([cells], colWidths=[_WIDTH / 3] * 3, rowHeights=[62])
    table.setStyle(
        TableStyle(
            [
                ("GRID", (0, 0), (-1, -1), 0.7, HexColor("#1a1a1a")),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ]
        )
    )
    return table


def _shape(drawing: Drawing) -> shapes.Drawing:
    made = shapes.Drawing(drawing.width, drawing.height)
    for one in drawing.marks:
        made.add(_mark(one))
    return made


def _mark(one: Stroke | Disc | Words) -> Any:
    match one:
        case Stroke(points, weight, dashes):
            colour, width = _PEN[weight]
            flat = [value for point in points for value in point]
            return shapes.PolyLine(
                flat,
                strokeColor=HexColor(colour),
                strokeWidth=width,
                strokeDashArray=list(dashes) or None,
            )
        case Disc(x, y, radius, weight):
            colour, width = _PEN[weight]
            return shapes.Circle(
                x, y, radius, fillColor=white, strokeColor=HexColor(colour), strokeWidth=width
            )
        case Words(x, y, text, anchor):
            return shapes.String(x, y, text, fontName="Helvetica", fontSize=7, textAnchor=anchor)


def _numbering(made: Certificate) -> type[Canvas]:
    """Return a canvas that writes `page 2 of 5` once it knows how many there are."""
    foot = (f"{made.banner.partition(':')[0]} · " if made.banner else "") + made.title
    head = made.head

    class Numbered(Canvas):  # type: ignore[misc]  # the library has no types
        def __init__(self, *args: Any, **options: Any) -> None:
            super().__init__(*args, **options)
            self._pages: list[dict[str, Any]] = []

        def showPage(self) -> None:  # noqa: N802 (the library's name)
            self._pages.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for number, page in enumerate(self._pages, start=1):
                self.__dict__.update(page)
                self.setFont("Helvetica", 7)
                self.drawString(_MARGIN, 30, foot)
                self.drawString(_MARGIN, 21, f"record head {head}")
                last = f"page {number} of {len(self._pages)}"
                self.drawRightString(A4[0] - _MARGIN, 30, last)
                super().showPage()
            super().save()

    return Numbered
