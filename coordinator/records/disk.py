"""Keep one file that only grows, for a journal: written in place, locked, synced on demand.

Invariants: RC2, one process writes to a journal; J4, what `sync`, `commit` or `append` returned
from is on the disk.
Source: POSIX.1-2017, fdatasync, posix_fallocate; Linux man-pages, flock(2).
"""

import fcntl
import os
from pathlib import Path
from typing import Protocol


class Disk(Protocol):
    """Where a journal's bytes lie; every method raises `OSError` when it cannot do its work."""

    def read(self) -> bytes:
        """Return everything."""

    def size(self) -> int:
        """Return how many bytes there are."""

    def grow(self, size: int) -> None:
        """Append zeros up to `size`, with the room for them taken from the disk now."""

    def write(self, offset: int, content: bytes) -> None:
        """Write over what is there; all of it, or raise."""

    def sync(self) -> None:
        """Return once everything written is on the disk."""

    def close(self) -> None:
        """Let go of the file."""


class DiskFile:
    """A file of the system; `create`, `open_to_write` or `open_to_read` it."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor

    @classmethod
    def create(cls, path: Path) -> "DiskFile":
        """Make an empty file; raise `FileExistsError` if there is one."""
        file = cls(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o644))
        file._lock()
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)  # Or a crash could lose the name with the file behind it.
        finally:
            os.close(folder)
        return file

    @classmethod
    def open_to_write(cls, path: Path) -> "DiskFile":
        """Open; raise `BlockingIOError` while another process writes."""
        file = cls(os.open(path, os.O_RDWR | os.O_CLOEXEC))
        file._lock()
        return file

    @classmethod
    def open_to_read(cls, path: Path) -> "DiskFile":
        """Open beside whoever writes."""
        return cls(os.open(path, os.O_RDONLY | os.O_CLOEXEC))

    def read(self) -> bytes:
        """Return everything."""
        pieces = []
        offset = 0
        while piece := os.pread(self._descriptor, 1 << 20, offset):
            pieces.append(piece)
            offset += len(piece)
        return b"".join(pieces)

    def size(self) -> int:
        """Return how many bytes there are."""
        return os.fstat(self._descriptor).st_size

    def grow(self, size: int) -> None:
        """Append zeros up to `size`."""
        begin = self.size()
        os.posix_fallocate(self._descriptor, begin, size - begin)

    def write(self, offset: int, content: bytes) -> None:
        """Write over what is there."""
        while content:
            count = os.pwrite(self._descriptor, content, offset)
            offset, content = offset + count, content[count:]

    def sync(self) -> None:
        """Return once everything written is on the disk."""
        os.fdatasync(self._descriptor)

    def close(self) -> None:
        """Let go of the file and of its lock."""
        os.close(self._descriptor)

    def _lock(self) -> None:
        try:
            fcntl.flock(self._descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            os.close(self._descriptor)
            raise
