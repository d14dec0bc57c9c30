"""Hold what a file says as a frozen tree that knows the line and column of every key and value.

Scalars stay text: the models decide what `no`, `on` or `2-8UN` mean, not the YAML resolver.
"""

import re
from collections.abc import Collection
from dataclasses import dataclass, field
from math import isfinite

from coordinator.core.plan import Origin
from coordinator.sequence.form.diagnostics import ADVICE, Diagnostic, Findings, choose_from

Part = str | int
Trail = tuple[Part, ...]
"""The keys and positions that lead from the top of a file to a value."""

Scalar = str | int | float | bool | None
Data = Scalar | tuple["Data", ...] | dict[str, "Data"]

_INTEGER = re.compile(r"[-+]?\d{1,15}")
_NUMBER = re.compile(r"[-+]?(\d{1,15}\.\d*|\.\d+|\d{1,15})([eE][-+]?\d{1,3})?")
_WORDS: dict[str, Scalar] = {
    "true": True,
    "false": False,
    "yes": True,
    "no": False,
    "null": None,
    "~": None,
    "": None,
}


@dataclass(frozen=True, slots=True)
class Leaf:
    """A scalar as written."""

    line: int
    column: int
    text: str
    plain: bool
    """Written without quotes."""

    @property
    def data(self) -> Scalar:
        """The scalar as whole number, number, truth value, nothing, or else text."""
        if not self.plain:
            return self.text
        if _INTEGER.fullmatch(self.text):
            return int(self.text)
        if _NUMBER.fullmatch(self.text) and isfinite(number := float(self.text)):
            return number
        return _WORDS.get(self.text, self.text)


@dataclass(frozen=True, slots=True)
class Row:
    """A list."""

    line: int
    column: int
    items: tuple["Tree", ...]

    @property
    def data(self) -> Data:
        """The list as a tuple."""
        return tuple(item.data for item in self.items)


@dataclass(frozen=True, slots=True)
class Table:
    """A mapping; keys are always text."""

    line: int
    column: int
    keys: tuple[Leaf, ...]
    values: tuple["Tree", ...]
    places: dict[str, int] = field(init=False, repr=False, compare=False)
    """Position of each key: files are long, and every step asks for its line."""

    def __post_init__(self) -> None:
        """Note where each key stands."""
        places = {key.text: place for place, key in enumerate(self.keys)}
        object.__setattr__(self, "places", places)

    @property
    def data(self) -> Data:
        """The mapping as a dict in file order."""
        return {key.text: value.data for key, value in zip(self.keys, self.values, strict=True)}

    def find(self, name: Part) -> int:
        """Return the position of a key, or -1."""
        return self.places.get(name, -1) if isinstance(name, str) else -1


Tree = Leaf | Row | Table


@dataclass(frozen=True, slots=True)
class Document:
    """One file: its tree, where it lies, and the digest of its bytes."""

    display: str
    """The path as the reader was given it, for messages."""
    relative: str
    """The path below the root folder, the same on every machine."""
    digest: str
    tree: Tree
    lines: tuple[str, ...]

    def place(self, trail: Trail, *, key: bool = False) -> tuple[int, int]:
        """Return line and column of the value at `trail`, or of the last part of it there is.

        Args:
            trail: Keys and positions from the top of the file.
            key: Point at the key of the last part instead of at its value.
        """
        node, place = self.tree, (self.tree.line, self.tree.column)
        for position, part in enumerate(trail):
            is_last = position == len(trail) - 1
            if isinstance(node, Table) and (found := node.find(part)) >= 0:
                mark = node.keys[found] if key and is_last else node.values[found]
                node, place = node.values[found], (mark.line, mark.column)
            elif isinstance(node, Row) and isinstance(part, int) and part < len(node.items):
                node = node.items[part]
                place = (node.line, node.column)
            else:
                return place
        return place

    def origin(self, trail: Trail) -> Origin:
        """Return the place of `trail` for the plan."""
        return Origin(self.relative, *self.place(trail))

    def finding(
        self, trail: Trail, code: str, what: str, must: str, do: str, *, key: bool = False
    ) -> Diagnostic:
        """Return a diagnostic at `trail`."""
        line, column = self.place(trail, key=key)
        excerpt = self.lines[line - 1] if 0 < line <= len(self.lines) else ""
        return Diagnostic(self.display, line, column, what, must, do, code, excerpt)


class Tells:
    """Whoever judges one file and tells what is wrong with it."""

    __slots__ = ()
    document: Document
    findings: Findings

    def tell(
        self, trail: Trail, code: str, what: str, must: str = "", do: str = "", *, key: bool = False
    ) -> None:
        """Tell a finding at `trail`; without `must` and `do`, what the code always asks for."""
        if not must:
            must, do = ADVICE[code]["must"], ADVICE[code]["do"]
        self.findings.add(self.document.finding(trail, code, what, must, do, key=key))

    def knows(
        self,
        trail: Trail,
        code: str,
        what: str,
        name: str,
        known: Collection[str],
        *,
        of: str,
        key: bool = False,
    ) -> bool:
        """Return whether a name is known; one that is not is told, with the nearest ones.

        Args:
            trail: Where the name is written.
            code: Under which code it is told.
            what: What the name is of.
            name: As written.
            known: The names that there are.
            of: What the known names are called, in the plural.
            key: Whether the name is the key at `trail`.
        """
        if name in known:
            return True
        must, do = choose_from(name, known, of)
        self.tell(trail, code, f"{what} is {name!r}", must, do, key=key)
        return False


@dataclass(frozen=True, slots=True)
class Teller(Tells):
    """Tells what is wrong with a file."""

    document: Document
    findings: Findings
