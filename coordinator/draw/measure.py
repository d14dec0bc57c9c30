"""Decide how wide a text comes out, and break it where it would not fit.

The picture names no font file, so the viewer picks one of its own: widths are those of the widest
common sans-serif face, and in any other the text is only shorter.

Units: pixels.
Source:
    Advance widths of DejaVu Sans in thousandths of the size, rounded up by class; read from the
    font itself.
"""

from collections.abc import Iterator

_BOLD = 1.14
# DejaVu Sans Bold against DejaVu Sans, widest of the small letters; read from the fonts.
_CLASSES = (
    ("iljI'", 310),
    (" .,:;·|", 340),
    ('frt()[]!/-"', 462),
    ("cszkvxyJL?_*°", 600),
    ("abdeghnopquFETSYZPKXRBCAV0123456789$", 700),
    ("NOQDGHU&<>=+±×w#", 840),
    ("mM%W@", 1000),
)
_WIDTHS = {character: width for group, width in _CLASSES for character in group}
_OTHER = 1000
# Characters of other scripts can be as wide as they are high.


def width_of(text: str, size: float, *, bold: bool = False) -> float:
    """Return the width of one line at most."""
    total = sum(_WIDTHS.get(character, _OTHER) for character in text)
    return total * size / 1000.0 * (_BOLD if bold else 1.0)


def broken(text: str, width: float, size: float, *, bold: bool = False) -> list[str]:
    """Break a text into lines that fit a width; a word longer than that is cut."""
    lines: list[str] = []
    line = ""
    for word in _pieces(text, width, size, bold):
        longer = f"{line} {word}" if line else word
        if line and width_of(longer, size, bold=bold) > width:
            lines.append(line)
            longer = word
        line = longer
    return [*lines, line] if line or not lines else lines


def _pieces(text: str, width: float, size: float, bold: bool) -> Iterator[str]:
    """Yield the words of a text, each short enough for a line."""
    for word in text.split():
        rest = word
        while width_of(rest, size, bold=bold) > width and len(rest) > 1:
            cut = len(rest) - 1
            while cut > 1 and width_of(rest[:cut], size, bold=bold) > width:
                cut -= 1
            yield rest[:cut]
            rest = rest[cut:]
        yield rest
