"""Keep what was seen while a cell is brought up: only appended, durable, each entry chained.

A cell has one book, a file beside which nothing else counts as evidence. It is framed as journals
are, so that no byte of it can change unseen; an entry is one line of JSON.

Units: ``at`` is UTC, RFC 3339.
Invariants: J4, what `sync`, `commit` or `append` returned from is on the disk; CM3, a damaged book
is evidence of nothing.
"""

import contextlib
import json
import os
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from coordinator.records import frames
from coordinator.records.disk import DiskFile
from coordinator.records.event_codec import canonical

FORMAT_LINE = b"bothsides-commissioning:1\n"
ENDING = ".book"
LOCK_S = 5.0
"""Chosen: every verb writes an entry and lets go; longer means that somebody holds it."""


class BookFailed(ValueError):  # noqa: N818 (it says what happened)
    """The book cannot be read or written; nothing in it counts until it can."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that was seen or said."""

    number: int
    at: str
    kind: str
    by: str
    body: dict[str, Any]
    digest: str = ""
    """Of the entry and everything before it."""

    @property
    def reference(self) -> str:
        """Return what other papers call it."""
        return f"entry {self.number}, {self.digest[:12]}"


def book_path(folder: Path, cell: str) -> Path:
    """Return where the book of a cell is."""
    return folder / f"{cell}{ENDING}"


def read_book(path: Path) -> tuple[Entry, ...]:
    """Return every entry in order; none where there is no book yet.

    Raises:
        BookFailed: it cannot be read, is no book, or is damaged.
    """
    try:
        return _entries(path, path.read_bytes())[0]
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise BookFailed(f"{path}: {error.strerror}; name another folder with --book") from None


class Book:
    """A book open to be written, as a context manager; one at a time, so hold it briefly."""

    def __init__(self, path: Path, disk: DiskFile) -> None:
        self.path = path
        self._disk = disk
        content = disk.read()
        if not content:
            disk.grow(frames.BLOCK)
            disk.write(0, FORMAT_LINE)
            content = disk.read()
        self.entries, self._end, self._digest = _entries(path, content)
        torn = content[self._end :].rstrip(b"\0")
        if torn:
            disk.write(self._end, bytes(len(torn)))
            disk.sync()

    @classmethod
    @contextlib.contextmanager
    def open(cls, path: Path) -> Iterator["Book"]:
        """Open a book, and begin it where there is none.

        Raises:
            BookFailed: it cannot be read or written, another process writes it, or it is damaged.
        """
        with _plainly(path):
            path.parent.mkdir(parents=True, exist_ok=True)
            disk = _locked(path)
        try:
            with _plainly(path):
                book = cls(path, disk)
            yield book
        finally:
            disk.close()

    def append(self, at: str, kind: str, by: str, body: dict[str, Any]) -> Entry:
        """Write one entry; it is durable on return.

        Raises:
            BookFailed: it could not be written; open the book anew before anything else.
        """
        entry = Entry(len(self.entries), at, kind, by, body)
        values = asdict(entry)
        del values["digest"], values["number"]
        whole, digest = frames.frame(self._digest, entry.number, canonical(values).encode())
        end = self._end + len(whole)
        with _plainly(self.path):
            if self._disk.size() < frames.size_for(end):
                self._disk.grow(frames.size_for(end))
            self._disk.write(self._end, whole)
            self._disk.sync()
        self._end, self._digest = end, digest
        entry = Entry(entry.number, at, kind, by, json.loads(canonical(body)), digest)
        self.entries = (*self.entries, entry)
        return entry


def _locked(path: Path) -> DiskFile:
    """Open a file to be written, as soon as nobody else writes it."""
    end_s = time.monotonic() + LOCK_S
    while True:
        try:
            return DiskFile.open_to_write(path) if path.exists() else DiskFile.create(path)
        except (BlockingIOError, FileExistsError):
            if time.monotonic() >= end_s:
                raise
        time.sleep(0.02)


def _entries(path: Path, content: bytes) -> tuple[tuple[Entry, ...], int, str]:
    """Return the entries, where they end, and the digest of the last."""
    if not content.startswith(FORMAT_LINE):
        raise BookFailed(f"{path}: is no commissioning book of this version; name another folder")
    scan = frames.scan(content, FORMAT_LINE)
    if scan.damage in ("cut", "damaged"):
        raise BookFailed(
            f"{path}: entry {len(scan.bodies)} is {scan.damage}, must be as it was written; "
            "nothing in the book counts, fetch a copy or begin a new one"
        )
    found, digest = [], frames.first_digest(FORMAT_LINE)
    for number, body in enumerate(scan.bodies):
        _, digest = frames.frame(digest, number, body)
        found.append(Entry(number=number, **json.loads(body), digest=digest))
    return tuple(found), scan.end, digest


@contextlib.contextmanager
def _plainly(path: Path) -> Iterator[None]:
    """Say in words what the system says in numbers."""
    try:
        yield
    except BlockingIOError:
        raise BookFailed(f"{path}: another process writes this book; end it first") from None
    except OSError as error:
        reason = os.strerror(error.errno) if error.errno else str(error)
        raise BookFailed(f"{path}: {reason}; name another folder with --book") from None
