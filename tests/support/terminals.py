"""A program at a terminal, as a person sees it: a pseudo-terminal with an emulator behind it."""

import contextlib
import fcntl
import os
import select
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import pyte

WAIT_S = 60.0
SLICE_S = 0.1
HISTORY_LINES = 2000


def sized(descriptor: int, columns: int, lines: int) -> None:
    """Give a terminal its size."""
    fcntl.ioctl(descriptor, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))


@dataclass(slots=True)
class Terminal:
    """The side of the terminal at which the person sits."""

    hand: int
    columns: int
    lines: int
    screen: pyte.HistoryScreen = field(init=False)
    raw: bytearray = field(default_factory=bytearray)
    """All bytes that came, for finding control sequences."""
    kept: str = ""
    """A picture that a test keeps for later."""
    _stream: pyte.ByteStream = field(init=False)

    def __post_init__(self) -> None:
        self.screen = pyte.HistoryScreen(self.columns, self.lines, history=HISTORY_LINES, ratio=1)
        self.screen.set_mode(pyte.modes.LNM)
        self._stream = pyte.ByteStream(self.screen)

    def type(self, words: str) -> None:
        """Type a line."""
        os.write(self.hand, f"{words}\n".encode())

    def read(self) -> bool:
        """Take in what is there; False once nobody writes any more."""
        if not select.select([self.hand], [], [], SLICE_S)[0]:
            return True
        try:
            content = os.read(self.hand, 65_536)
        except OSError:
            return False  # The other side is closed (EIO).
        self.raw += content
        self._stream.feed(content)
        return bool(content)

    @property
    def picture(self) -> str:
        """What the person sees now."""
        return "\n".join(line.rstrip() for line in self.screen.display).rstrip()

    @property
    def scrolled(self) -> str:
        """What has left the screen at its top, and is there to be scrolled back to."""
        rows = self.screen.history.top
        return "\n".join(
            "".join(row[column].data for column in range(self.columns)).rstrip() for row in rows
        )

    @property
    def everything(self) -> str:
        """All lines, in one with single spaces: wrapped words are found as they were printed."""
        return " ".join(f"{self.scrolled}\n{self.picture}".split())

    def wait_until(self, is_so: Callable[[], bool]) -> None:
        """Read until something is so; raise with the picture if it never is."""
        end_s = time.monotonic() + WAIT_S
        while not is_so():
            if time.monotonic() > end_s or not self.read():
                raise AssertionError(f"it never came; the screen:\n{self.scrolled}\n{self.picture}")

    def wait_for(self, words: str) -> None:
        """Read until words stand somewhere."""
        self.wait_until(lambda: words in self.everything)

    def wait_for_more(self) -> None:
        """Read until something new has come."""
        count = len(self.raw)
        self.wait_until(lambda: len(self.raw) > count)


@contextlib.contextmanager
def at_terminal(
    *words: str, columns: int = 80, lines: int = 24, kind: str = "xterm-256color"
) -> Iterator[tuple[Terminal, "subprocess.Popen[bytes]"]]:
    """Run the program with a person's terminal on all three of its streams."""
    hand, theirs = os.openpty()
    sized(theirs, columns, lines)
    process = subprocess.Popen(
        [sys.executable, "-m", "coordinator.cli.app", *words],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        # The sizes in the environment of whoever runs the tests are not those of this terminal.
        env={k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES")} | {"TERM": kind},
        start_new_session=True,
    )
    os.close(theirs)
    try:
        yield Terminal(hand, columns, lines), process
    finally:
        process.kill()
        process.wait()
        os.close(hand)
