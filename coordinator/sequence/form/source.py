"""Read YAML into a frozen tree, without obeying anything that a file could ask of its reader.

Invariants: SQ1, a file is data: no code and no tag in it is obeyed, no alias grows, and its size,
depth and number of nodes are bounded.
"""

import os
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

import yaml

from coordinator.sequence.form.diagnostics import Diagnostic, Findings
from coordinator.sequence.form.text import read_text
from coordinator.sequence.form.tree import Document, Leaf, Row, Table, Tree

DEPTH_MAX = 24
NODES_MAX = 50_000
# Chosen: a make-up of 24 bolts written out in full has some 6,000 nodes and a depth of 12.

_LOADER: type = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


def read_document(path: Path, root: Path, findings: Findings) -> Document | None:
    """Return the file at `path`, or None after telling `findings` why not.

    Args:
        path: The file.
        root: The folder that paths in digests and plans are relative to.
        findings: Gathers SEQ001 to SEQ004.
    """
    read = read_text(path, findings)
    if read is None:
        return None
    raw, text = read
    display = str(path)
    relative = Path(os.path.relpath(path, root)).as_posix()
    builder = _Builder(display, tuple(text.splitlines()), findings)
    tree = builder.build(text)
    if tree is None:
        return None
    return Document(display, relative, sha256(raw).hexdigest(), tree, builder.lines)


def _start(event: yaml.Event) -> tuple[int, int]:
    mark = event.start_mark
    return (1, 1) if mark is None else (mark.line + 1, mark.column + 1)


class _RefusedError(Exception):
    """Reading cannot go on; the reason is already among the findings."""


class _Builder:
    """Makes the tree out of the parser's events."""

    def __init__(self, display: str, lines: tuple[str, ...], findings: Findings) -> None:
        self.lines = lines
        self._display = display
        self._findings = findings
        self._events: Iterator[yaml.Event] = iter(())
        self._count = 0

    def build(self, text: str) -> Tree | None:
        """Return the tree of the one document in `text`."""
        self._events = iter(yaml.parse(text, Loader=_LOADER))
        before = len(self._findings)
        try:
            tree = self._document()
        except yaml.YAMLError as error:
            self._syntax(error)
            return None
        except _RefusedError:
            return None
        return tree if len(self._findings) == before else None

    def _document(self) -> Tree:
        self._next()
        start = self._next()
        if not isinstance(start, yaml.DocumentStartEvent):
            self._tell((1, 1), "SEQ001", "file is empty", "must hold one YAML document", "write it")
            raise _RefusedError
        tree = self._node(self._next(), 1)
        self._next()
        after = self._next()
        if isinstance(after, yaml.DocumentStartEvent):
            self._tell(
                _start(after),
                "SEQ001",
                "file holds a second document",
                "must hold one",
                "split it into two files",
            )
        return tree

    def _next(self) -> yaml.Event:
        return next(self._events)

    def _node(self, event: yaml.Event, depth: int) -> Tree:
        line, column = _start(event)
        self._count += 1
        if depth > DEPTH_MAX or self._count > NODES_MAX:
            limit = f"nests deeper than {DEPTH_MAX}" if depth > DEPTH_MAX else "has too many values"
            must = f"must have at most {DEPTH_MAX} levels and {NODES_MAX} values"
            self._tell((line, column), "SEQ002", f"file {limit}", must, "use blocks and loops")
            raise _RefusedError
        self._refuse_magic(event, line, column)
        if isinstance(event, yaml.SequenceStartEvent):
            return self._row(line, column, depth)
        if isinstance(event, yaml.MappingStartEvent):
            return self._table(line, column, depth)
        if isinstance(event, yaml.ScalarEvent):
            return Leaf(line, column, event.value, event.style in (None, ""))
        return Leaf(line, column, "", plain=True)

    def _refuse_magic(self, event: yaml.Event, line: int, column: int) -> None:
        tag = getattr(event, "tag", None)
        anchor = getattr(event, "anchor", None)
        if isinstance(event, yaml.AliasEvent):
            what = f"value is the alias '*{anchor}'"
        elif anchor is not None:
            what = f"value carries the anchor '&{anchor}'"
        elif tag is not None:
            what = f"value carries the tag {tag!r}"
        else:
            return
        self._tell(
            (line, column),
            "SEQ003",
            what,
            "must be written out plainly",
            "use a block with parameters to write something once",
        )

    def _row(self, line: int, column: int, depth: int) -> Row:
        items: list[Tree] = []
        while not isinstance(event := self._next(), yaml.SequenceEndEvent):
            items.append(self._node(event, depth + 1))
        return Row(line, column, tuple(items))

    def _table(self, line: int, column: int, depth: int) -> Table:
        entries: dict[str, tuple[Leaf, Tree]] = {}
        while not isinstance(event := self._next(), yaml.MappingEndEvent):
            key = self._node(event, depth + 1)
            value = self._node(self._next(), depth + 1)
            if not isinstance(key, Leaf):
                what = "key is a list or a mapping"
                self._tell((key.line, key.column), "SEQ008", what, "must be a word", "write a word")
            elif key.text in entries:
                first = entries[key.text][0].line
                self._tell(
                    (key.line, key.column),
                    "SEQ004",
                    f"key {key.text!r} stands here again after line {first}",
                    "must stand once",
                    "keep one of the two",
                )
            else:
                entries[key.text] = (key, value)
        keys = tuple(key for key, _ in entries.values())
        return Table(line, column, keys, tuple(value for _, value in entries.values()))

    def _syntax(self, error: yaml.YAMLError) -> None:
        mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
        line, column = (mark.line + 1, mark.column + 1) if mark is not None else (1, 1)
        problem = getattr(error, "problem", None) or getattr(error, "reason", None) or "unreadable"
        what = f"text is no YAML ({problem})"
        do = "correct the indentation, quotes or brackets before this place"
        self._tell((line, column), "SEQ001", what, "must follow YAML", do)

    def _tell(self, place: tuple[int, int], code: str, what: str, must: str, do: str) -> None:
        line, column = place
        excerpt = self.lines[line - 1] if 0 < line <= len(self.lines) else ""
        self._findings.add(Diagnostic(self._display, line, column, what, must, do, code, excerpt))
