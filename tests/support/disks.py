"""A disk in memory that fails when it is told to, for journals under test."""

import errno
from collections.abc import Callable

ERRORS = {"eio": errno.EIO, "enospc": errno.ENOSPC}


class MemoryDisk:
    """Keeps bytes; `content` is what a crash would leave, given that all writes got there."""

    def __init__(self, content: bytes = b"") -> None:
        self.content = bytearray(content)
        self.syncs = 0
        self.fails: Callable[[str], str] = lambda operation: ""
        """Asked before each of `read`, `grow`, `write` and `sync`; names an error of `ERRORS`."""

    def read(self) -> bytes:
        """Return everything."""
        self._ask("read")
        return bytes(self.content)

    def size(self) -> int:
        """Return how many bytes there are."""
        return len(self.content)

    def grow(self, size: int) -> None:
        """Append zeros up to `size`."""
        self._ask("grow")
        self.content += bytes(size - len(self.content))

    def write(self, offset: int, content: bytes) -> None:
        """Write over what is there, in room that was made before."""
        self._ask("write")
        if offset + len(content) > len(self.content):
            raise AssertionError("a journal writes only into room that it has taken")
        self.content[offset : offset + len(content)] = content

    def sync(self) -> None:
        """Count."""
        self._ask("sync")
        self.syncs += 1

    def close(self) -> None:
        """Nothing to let go of."""

    def _ask(self, operation: str) -> None:
        if name := self.fails(operation):
            raise OSError(ERRORS[name], name)
