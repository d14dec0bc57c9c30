"""Own the terminal while a run goes on: printed lines stay above, what stands now is drawn below.

Everything that a person reads goes through one `Screen`, from one thread. Two writers on one
terminal erase each other's lines: the table used to erase prompts and refusals that another console
had printed. Nor may a thread of rich's own refresh the region: it renders, and so changes how many
lines the other thread believes to be drawn, before it writes (seen with rich 15.0).

Units: sizes in characters.
"""

import asyncio
import contextlib
from collections.abc import Callable, Iterator

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.padding import Padding
from rich.text import Text

FRAMES_PER_S = 4
"""Chosen: quick enough to follow, slow enough for a narrow line to a ship."""
WIDTH_MIN = 60
"""Chosen: below this the columns of the table are too narrow to read."""
HEIGHT_MIN = 16
"""Chosen: the table with a prompt of three answers, and a few lines above it."""

Region = Callable[[int, int], RenderableType]
"""Takes width and height of the terminal, returns what is drawn below the printed lines."""


class Screen:
    """The only writer to the terminal.

    Args:
        say: Prints a line where nothing is drawn.
        console: Of the terminal that `say` prints on; None where nobody looks at one.
    """

    def __init__(self, say: Callable[[str], None], console: Console | None = None) -> None:
        self._say = say
        self._console = console
        self._live: Live | None = None

    @property
    def can_draw(self) -> bool:
        """Whether the terminal can move its cursor and is large enough for the table."""
        console = self._console
        if console is None or not console.is_terminal or console.is_dumb_terminal:
            return False
        return console.width >= WIDTH_MIN and console.height >= HEIGHT_MIN

    @property
    def is_drawn(self) -> bool:
        """Whether a region is drawn now."""
        return self._live is not None

    def say(self, text: str) -> None:
        """Print lines that stay; above the drawn region where there is one."""
        if self._live is None:
            self._say(text)
            return
        self._live.console.print(Group(*(_indented(line) for line in text.splitlines())))

    def refresh(self) -> None:
        """Draw the region anew at once, so that a typed key shows without waiting."""
        if self._live is not None:
            self._live.refresh()

    async def keep_fresh(self) -> None:
        """Draw the region anew several times a second, until cancelled."""
        while True:
            await asyncio.sleep(1.0 / FRAMES_PER_S)
            self.refresh()

    @contextlib.contextmanager
    def shown(self, region: Region) -> Iterator[None]:
        """Draw `region` below the printed lines, if the terminal can; it is erased at the end."""
        if self._console is None or not self.can_draw:
            yield
            return
        # Not the console that prints elsewhere: that one leaves wrapping to the terminal, and the
        # number of lines to erase would be wrong.
        console = Console(file=self._console.file, highlight=False, markup=False, emoji=False)
        live = Live(
            console=console,
            get_renderable=lambda: region(console.width, console.height),
            auto_refresh=False,
            transient=True,
        )
        with live:
            self._live = live
            self.refresh()
            try:
                yield
            finally:
                self._live = None


def _indented(line: str) -> RenderableType:
    """Return a line that keeps its indentation where it is wrapped."""
    words = line.lstrip(" ")
    return Padding(Text(words), (0, 0, 0, len(line) - len(words)))
