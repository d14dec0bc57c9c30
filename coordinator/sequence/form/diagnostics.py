"""Say everything that is wrong with a file, each thing with its place and what to do about it.

Invariants: SQ4, every finding of every file is told at once, and the same one only once.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import lru_cache

from coordinator.packaged import read_tables

_TABLES = read_tables("coordinator.sequence.form", "codes")
CODES: Mapping[str, str] = _TABLES["headings"]
"""Every code against its heading: `codes.toml` beside this file."""
ADVICE: Mapping[str, Mapping[str, str]] = _TABLES["advice"]
"""What must be and what to do, of codes for which that is always the same."""

DIAGNOSTICS_MAX = 200
# Chosen: more than anyone reads at once; reading ends there, so that a hostile file cannot keep
# the reader at work.

_WORDS_MAX = 400
_EXCERPT_MAX = 160
# Chosen: three lines of a terminal for a message, and what fits beside a caret.

_NEAR = 0.6
# difflib's own default for what counts as close.

_NAME_MAX = 60
# Chosen: names have at most 40 characters; a longer word is compared by its beginning.


@dataclass(frozen=True, slots=True)
class Diagnostic:
    """One finding: where it is, what is there, what must be there, what to do."""

    file: str
    line: int
    column: int
    what: str
    must: str
    do: str
    code: str
    excerpt: str = ""
    """The line of the file that `column` points into; empty when there is none."""

    def __str__(self) -> str:
        """Return the finding on one line, as scripts and editors read it."""
        place = f"{self.file}:{self.line}:{self.column}"
        return f"{place}: {self.what}, {self.must}; {self.do} [{self.code}]"

    def render(self) -> str:
        """Return the finding with its line of the file and a caret below the place."""
        if not self.excerpt:
            return str(self)
        shown, caret = self.window()
        gutter = f"{self.line:>5} | "
        blank = " " * (len(gutter) - 2) + "| "
        return f"{self}\n{gutter}{shown}\n{blank}{' ' * caret}^"

    def window(self) -> tuple[str, int]:
        """Return the part of the line that is worth showing, and where in it the place is.

        Characters that would move a terminal's cursor are shown as a replacement.
        """
        start = max(0, self.column - 1 - _EXCERPT_MAX // 2) if self._is_long() else 0
        part = self.excerpt[start : start + _EXCERPT_MAX]
        shown = "".join(one if one.isprintable() else "\ufffd" for one in part)
        return shown, self.column - 1 - start

    def _is_long(self) -> bool:
        return len(self.excerpt) > _EXCERPT_MAX


class SequenceError(ValueError):
    """One or more files are wrong; carries every finding, in the order of the files."""

    def __init__(self, diagnostics: Iterable[Diagnostic]) -> None:
        """Keep `diagnostics`; the text of the error is all of them, one to a line."""
        self.diagnostics = tuple(diagnostics)
        super().__init__("\n".join(str(diagnostic) for diagnostic in self.diagnostics))

    def render(self) -> str:
        """Return every finding with its line of the file."""
        return "\n".join(diagnostic.render() for diagnostic in self.diagnostics)


class Findings:
    """The findings of one reading, gathered while it goes on."""

    def __init__(self) -> None:
        """Start with none."""
        self._found: dict[tuple[str, int, int, str, str], Diagnostic] = {}

    def add(self, diagnostic: Diagnostic) -> None:
        """Keep `diagnostic` unless one of that code is known at that place.

        A block that is used twelve times would else tell its one mistake twelve times.

        Raises:
            SequenceError: So many are known that nobody would read one more.
        """
        if diagnostic.code not in CODES:
            raise KeyError(diagnostic.code)
        # Keys that are missing all miss at one place, that of the table.
        what = diagnostic.what if diagnostic.code == "SEQ007" else ""
        key = (diagnostic.file, diagnostic.line, diagnostic.column, diagnostic.code, what)
        if key in self._found:
            return
        self._found[key] = replace(
            diagnostic,
            what=_cut(diagnostic.what),
            must=_cut(diagnostic.must),
            do=_cut(diagnostic.do),
        )
        if len(self._found) >= DIAGNOSTICS_MAX:
            raise SequenceError(self.all())

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self._found)

    def all(self) -> tuple[Diagnostic, ...]:
        """Return them by file in the order met, then by line and column."""
        order = {file: place for place, (file, *_) in reversed(list(enumerate(self._found)))}
        return tuple(
            sorted(
                self._found.values(),
                key=lambda one: (order[one.file], one.line, one.column, one.code),
            )
        )

    def raise_if_any(self) -> None:
        """Raise `SequenceError` with all of them, if there are any."""
        if self._found:
            raise SequenceError(self.all())


def choose_from(name: str, known: Iterable[str], what: str) -> tuple[str, str]:
    """Return the `must` and `do` of a name that is not among `known`, with the nearest ones.

    Args:
        name: What the author wrote.
        known: The names there are.
        what: What the names are called, in the plural.
    """
    return _choose_from(name[:_NAME_MAX], tuple(known), what)


@lru_cache(maxsize=256)
def _choose_from(name: str, names: tuple[str, ...], what: str) -> tuple[str, str]:
    must = f"must be one of the {what}"
    near = get_close_matches(name, names, n=2, cutoff=_NEAR)
    if near:
        do = f"did you mean {' or '.join(map(repr, near))}?"
        foreign = next((one for one in name if not one.isascii()), "")
        # A letter of another alphabet can look like one of ours.
        return must, f"{do} {foreign!r} is U+{ord(foreign):04X}" if foreign else do
    if not names:
        return must, "declare it first, there is none yet"
    listed = ", ".join(names[:12]) + (", ..." if len(names) > 12 else "")
    return must, f"choose from: {listed}"


def _cut(words: str) -> str:
    """Return the words of a message, the middle of very long ones left out."""
    half = _WORDS_MAX // 2
    return words if len(words) <= _WORDS_MAX else f"{words[:half]} ... {words[-half:]}"
