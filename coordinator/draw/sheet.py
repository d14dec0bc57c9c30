"""Write single SVG elements onto a sheet of paper.

What is drawn is grey on paper; colour is kept for what is out of the ordinary. In a viewer that
is set to dark, the same greys are turned about.

Units: pixels, from the top left.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from html import escape

INK, SOFT, PAPER, WHITE, BAR = "#1d2733", "#56616d", "#fbfaf6", "#ffffff", "#e6eaee"
ABNORMAL = "#8f2f10"
_DARK = {
    INK: "#dfe5ea",
    SOFT: "#a3adb7",
    PAPER: "#14191f",
    WHITE: "#1d242c",
    BAR: "#2a333d",
    ABNORMAL: "#f09a74",
}
_FACE = "font-family='Helvetica, Arial, sans-serif'"


def _style() -> str:
    rules = "".join(
        f"[{part}='{light}']{{{part}:{dark}}}"
        for light, dark in _DARK.items()
        for part in ("fill", "stroke")
    )
    return f"<style>@media (prefers-color-scheme:dark){{{rules}}}</style>"


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
            f"<title>{escape(title)}</title>\n<desc>{escape(text)}</desc>\n{_style()}\n"
            f"<rect width='100%' height='100%' fill='{PAPER}'/>\n"
        )
        return head + "\n".join(self._parts) + "\n</svg>\n"

    @contextmanager
    def titled(self, title: str) -> Iterator[None]:
        """Gather what is drawn meanwhile; a viewer shows its title under the pointer."""
        self._parts.append(f"<g><title>{escape(title)}</title>")
        yield
        self._parts.append("</g>")

    def text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float = 12.0,
        colour: str = INK,
        weight: int = 400,
        align: str = "start",
    ) -> None:
        """Write one line of text with its foot at `y`."""
        self._parts.append(
            f"<text x='{x:.1f}' y='{y:.1f}' font-size='{size:g}' fill='{colour}' "
            f"font-weight='{weight}' text-anchor='{align}'>{escape(text)}</text>"
        )

    def upright(self, x: float, y: float, text: str, size: float) -> None:
        """Write a text that runs upwards, centred at `y`."""
        self._parts.append(
            f"<text transform='translate({x:.1f} {y:.1f}) rotate(-90)' font-size='{size:g}' "
            f"fill='{INK}' text-anchor='middle'>{escape(text)}</text>"
        )

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
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
        self, x: float, y: float, radius: float, *, fill: str, stroke: str, dash: str = ""
    ) -> None:
        """Draw a circle."""
        self._parts.append(
            f"<circle cx='{x:.1f}' cy='{y:.1f}' r='{radius:.1f}' fill='{fill}' "
            f"stroke='{stroke}' stroke-width='1.2'{_dashed(dash)}/>"
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
