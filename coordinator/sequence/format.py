"""Put a file into the layout of the house, keeping its comments and what it means.

The layout: two blanks for each level, list items two blanks in from their key, double quotes where
a text needs quotes and none where it does not, comments in line with what they stand above.

Invariants: SQ8, a file is laid out anew whole or not at all, and only if it reads as before and
keeps its comments.
"""

import os
from bisect import bisect_right
from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from tempfile import mkstemp

import yaml
from ruamel.yaml import YAML
from ruamel.yaml.emitter import Emitter
from ruamel.yaml.resolver import VersionedResolver

from coordinator.sequence.form.diagnostics import Findings, SequenceError
from coordinator.sequence.form.source import read_document
from coordinator.sequence.form.tree import Leaf, Row, Table, Tree
from coordinator.sequence.read import root_of

_WIDTH = 1_000_000
# Beyond any line: text is never broken anew, because a comment could get between.

_PASSES_MAX = 4
# Chosen: the second pass settles where comments stand; the others are there to see that it did.


class FormatError(RuntimeError):
    """The formatter would have changed a file's meaning or lost a comment; nothing was written."""


def reformat(path: Path | str) -> bool:
    """Put a file into the layout of the house; return whether that changed it.

    Args:
        path: The file; it is replaced in one step and keeps its mode.

    Raises:
        SequenceError: The file cannot be read.
        FormatError: The result would not say the same; the file is left as it is.
    """
    source = Path(path).resolve()
    before = _tree(source)
    text = source.read_bytes().decode("utf-8")
    formatted = format_text(text)
    if formatted == text:
        return False
    handle, name = mkstemp(prefix=f".{source.stem}-", suffix=".yaml", dir=source.parent)
    draft = Path(name)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            file.write(formatted)
            file.flush()
            os.fsync(file.fileno())
        draft.chmod(source.stat().st_mode)
        _require_same(path, before, _tree(draft), text, formatted)
        draft.replace(source)
    finally:
        draft.unlink(missing_ok=True)
    return True


def format_text(text: str) -> str:
    """Return a file's text in the layout of the house.

    Args:
        text: YAML without tabs, anchors and tags.
    """
    for _ in range(_PASSES_MAX):
        formatted = _aligned(_written_anew(text), text)
        if formatted == text:
            break
        text = formatted
    return text


def comments_of(text: str) -> tuple[str, ...]:
    """Return every comment of a file from its `#` to the end of its line, in order."""
    return tuple(text[start:end] for start, end in _comment_spans(text))


def _tree(path: Path) -> Tree:
    findings = Findings()
    document = read_document(path, root_of(path), findings)
    if document is None:
        raise SequenceError(findings.all())
    return document.tree


def _require_same(path: Path | str, before: Tree, after: Tree, text: str, formatted: str) -> None:
    if list(_meaning(before)) != list(_meaning(after)):
        raise FormatError(f"{path}: the layout would change what the file says; left as it is")
    if comments_of(text) != comments_of(formatted):
        raise FormatError(f"{path}: the layout would change a comment; left as it is")


def _meaning(tree: Tree) -> Iterator[tuple[str, object]]:
    """Yield what a tree says, with kinds, for `1`, `1.0` and `yes` are equal to Python."""
    match tree:
        case Leaf():
            yield type(tree.data).__name__, tree.data
        case Row():
            yield "list", len(tree.items)
            for item in tree.items:
                yield from _meaning(item)
        case Table():
            yield "mapping", len(tree.keys)
            for key, value in zip(tree.keys, tree.values, strict=True):
                yield "key", key.text
                yield from _meaning(value)


class _TextOnly(VersionedResolver):
    """Takes every plain value for text: what `no` and `8.50` mean is not the formatter's."""

    def resolve(self, kind: type, value: object, implicit: object) -> object:
        """Return the tag of a node."""
        is_plain = isinstance(value, str)
        return super().resolve(kind, "text" if is_plain else value, implicit)


class _HouseQuotes(Emitter):
    """Writes double quotes where a text needs quotes, and none where it does not."""

    def choose_scalar_style(self) -> str | None:
        """Return how the scalar at hand is written."""
        if self.event.style not in ("'", '"'):
            style = super().choose_scalar_style()
            return '"' if style == "'" else style
        if self.analysis is None:
            self.analysis = self.analyze_scalar(self.event.value)
        text = self.event.value
        # Its meaning without quotes is the reader's to say, not that of YAML at large.
        is_text = Leaf(0, 0, text, plain=True).data == text and bool(text)
        may_be_plain = self.analysis.allow_flow_plain and self.analysis.allow_block_plain
        return "" if is_text and may_be_plain and not self.analysis.multiline else '"'


def _written_anew(text: str) -> str:
    writer = YAML(typ="rt")
    writer.Resolver = _TextOnly
    writer.Emitter = _HouseQuotes
    writer.preserve_quotes = True
    writer.width = _WIDTH
    writer.brace_single_entry_mapping_in_flow_sequence = True
    writer.indent(mapping=2, sequence=4, offset=2)
    stream = StringIO()
    writer.dump(writer.load(text), stream)
    return stream.getvalue()


def _aligned(text: str, source: str) -> str:
    """Return the text with every comment that has a line of its own in line with its neighbour.

    Args:
        text: What was written anew.
        source: What it was made from; there a comment that stands deeper than what follows
            belongs to what stands above.
    """
    old, new = _Layout(source), _Layout(text)
    if len(old.own) != len(new.own):
        return text
    lines = text.split("\n")
    for (column, after, _), (_, _, line) in zip(old.own, new.own, strict=True):
        owner = after
        if after >= len(old.indents) or column > old.indents[after]:
            above = range(after - 1, -1, -1)
            owner = next((one for one in above if old.indents[one] <= column), after)
        indent = new.indents[owner] if owner < len(new.indents) else 0
        lines[line] = " " * indent + lines[line].lstrip(" ")
    return "\n".join(lines)


class _Layout:
    """Where the values and the comments of a text stand."""

    def __init__(self, text: str) -> None:
        scalars = _scalar_spans(text)
        lines = text.split("\n")
        starts = [0]
        for line in lines:
            starts.append(starts[-1] + len(line) + 1)
        self.indents = []
        """Indentation of the line on which each value starts."""
        self.own: list[tuple[int, int, int]] = []
        """Comments on lines of their own: (column, number of the next value, line)."""
        for start, _ in scalars:
            line = lines[bisect_right(starts, start) - 1]
            self.indents.append(len(line) - len(line.lstrip(" ")))
        for start, _ in _comment_spans(text):
            line_number = bisect_right(starts, start) - 1
            column = start - starts[line_number]
            if not lines[line_number][:column].strip():
                after = bisect_right(scalars, (start, start))
                self.own.append((column, after, line_number))


def _scalar_spans(text: str) -> list[tuple[int, int]]:
    # The parser in C counts places in bytes; the one in Python counts characters.
    return [
        (event.start_mark.index, event.end_mark.index)
        for event in yaml.parse(text, Loader=yaml.SafeLoader)
        if isinstance(event, yaml.ScalarEvent) and event.start_mark and event.end_mark
    ]


def _comment_spans(text: str) -> Iterator[tuple[int, int]]:
    """Yield where the comments of a text start and end."""
    scalars = _scalar_spans(text)
    place, number = 0, 0
    while (place := text.find("#", place)) >= 0:
        while number < len(scalars) and scalars[number][1] <= place:
            number += 1
        if number < len(scalars) and scalars[number][0] <= place:
            place = scalars[number][1]
            continue
        end = text.find("\n", place)
        end = len(text) if end < 0 else end
        yield place, end - text.endswith("\r", place, end)
        place = end
