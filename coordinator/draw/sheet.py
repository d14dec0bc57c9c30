"""Write single SVG elements onto a sheet of paper.

Units: pixels, from the top left.
"""

from html import escape

INK = "#1d2733"
PAPER = "#fbfaf6"
_FACE = "font-family='Helvetica, Arial, sans-serif'"
_PATTERN = (
    "<defs>"
    "<pattern id='paired' width='9' height='9' patternUnits='userSpaceOnUse' "
    "patternTransform='rotate(45)'>"
    "<path d='M0 0V9' stroke='#9a6a12' stroke-opacity='.3' stroke-width='1.6'/></pattern>"
    "</defs>"
)


class Sheet:
    """Gathers elements in the order in which they are drawn."""

    def __init__(self) -> None:
        """Start with an empty sheet."""
        self._parts: list[str] = []

    def document(self, width: float, height: float, title: str, text: str) -> str:
        """Return the whole file."""
        size = f"width='{width:.0f}' height='{height:.0f}' viewBox='0 0 {width:.0f} {height:.0f}'"
        head = (
            f"<svg xmlns='http://www.w3.org/2000/svg' {size} role='img' {_FACE}>\n"
            f"<title>{escape(title)}</title>\n<desc>{escape(text)}</desc>\n{_PATTERN}\n"
            f"<rect width='100%' height='100%' fill='{PAPER}'/>\n"
        )
        return head + "\n".join(self._parts) + "\n</svg>\n"

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float = 12.0,
        colour: str = INK,
        weight: int = 400,
        align: str = "start",
        halo: bool = False,
    ) -> None:
        """Write one line of text with its foot at `y`; a halo keeps lines behind it off."""
        behind = f" stroke='{PAPER}' stroke-width='5' paint-order='stroke'" if halo else ""
        self._parts.append(
            f"<text x='{x:.1f}' y='{y:.1f}' font-size='{size:g}' fill='{colour}' "
            f"font-weight='{weight}' text-anchor='{align}'{behind}>{escape(text)}</text>"
        )

    def upright(self, x: float, y: float, text: str, size: float, colour: str) -> None:
        """Write a text that runs upwards, centred at `y`."""
        self._parts.append(
            f"<text transform='translate({x:.1f} {y:.1f}) rotate(-90)' font-size='{size:g}' "
            f"fill='{colour}' text-anchor='middle' stroke='{PAPER}' stroke-width='4' "
            f"paint-order='stroke'>{escape(text)}</text>"
        )

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        fill: str,
        stroke: str,
        thickness: float = 1.2,
        dash: str = "",
        round_: float = 2.0,
    ) -> None:
        """Draw a rectangle."""
        self._parts.append(
            f"<rect x='{x:.1f}' y='{y:.1f}' width='{width:.1f}' height='{height:.1f}' "
            f"rx='{round_:g}' fill='{fill}' stroke='{stroke}' stroke-width='{thickness:g}'"
            f"{_dashed(dash)}/>"
        )

    def circle(
        self, x: float, y: float, radius: float, fill: str, stroke: str, dash: str = ""
    ) -> None:
        """Draw a circle."""
        self._parts.append(
            f"<circle cx='{x:.1f}' cy='{y:.1f}' r='{radius:.1f}' fill='{fill}' "
            f"stroke='{stroke}' stroke-width='1.2'{_dashed(dash)}/>"
        )

    def line(
        self, x: float, y: float, to_x: float, to_y: float, colour: str, thickness: float = 1.2
    ) -> None:
        """Draw a straight line."""
        self._parts.append(
            f"<line x1='{x:.1f}' y1='{y:.1f}' x2='{to_x:.1f}' y2='{to_y:.1f}' "
            f"stroke='{colour}' stroke-width='{thickness:g}'/>"
        )

    def path(
        self,
        route: str,
        colour: str,
        thickness: float,
        dash: str = "",
        *,
        fill: str = "none",
    ) -> None:
        """Draw a path."""
        self._parts.append(
            f"<path d='{route}' fill='{fill}' stroke='{colour}' stroke-width='{thickness:g}'"
            f"{_dashed(dash)}/>"
        )

    def head(self, x: float, y: float, *, degrees: int = 0) -> None:
        """Draw the head of an arrow with its tip here: downwards, or turned clockwise."""
        # Drawn by itself, because not every viewer draws the markers of SVG.
        self._parts.append(
            f"<path transform='translate({x:.1f} {y:.1f}) rotate({degrees})' "
            f"d='M0 0l-4 -9l4 2l4 -2z' fill='{INK}'/>"
        )


def _dashed(dash: str) -> str:
    return f" stroke-dasharray='{dash}'" if dash else ""
