"""Say everything that is wrong with a file, each thing with its place and what to do about it.

Keeps: diagnostics are collected, never first-error-only; the same finding is told once.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches

from coordinator.sequence.codes import CODES

DIAGNOSTICS_MAX = 200
# Chosen: more than anyone reads at once; keeps a hostile file from filling the memory.

_NEAR = 0.6
# difflib's own default for what counts as close.


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
        gutter = f"{self.line:>5} | "
        blank = " " * (len(gutter) - 2) + "| "
        return f"{self}\n{gutter}{self.excerpt}\n{blank}{' ' * (self.column - 1)}^"


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
        self._found: dict[tuple[str, int, int, str], Diagnostic] = {}

    def add(self, diagnostic: Diagnostic) -> None:
        """Keep `diagnostic` unless one of that code is known at that place.

        A block that is used twelve times would else tell its one mistake twelve times.
        """
        if diagnostic.code not in CODES:
            raise KeyError(diagnostic.code)
        key = (diagnostic.file, diagnostic.line, diagnostic.column, diagnostic.code)
        if len(self._found) < DIAGNOSTICS_MAX:
            self._found.setdefault(key, diagnostic)

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
    names = list(known)
    near = get_close_matches(name, names, n=2, cutoff=_NEAR)
    if near:
        return f"must be one of the {what}", f"did you mean {' or '.join(map(repr, near))}?"
    if not names:
        return f"must be one of the {what}", "declare it first, there is none yet"
    listed = ", ".join(names[:12]) + (", ..." if len(names) > 12 else "")
    return f"must be one of the {what}", f"choose from: {listed}"
