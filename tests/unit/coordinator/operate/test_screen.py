"""The owner of the screen, on a pseudo-terminal with an emulator behind it."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from rich.console import Console
from rich.text import Text

from coordinator.operate.screen import Screen
from tests.support.terminals import Terminal, sized

ENVIRONMENT = {"TERM": "xterm-256color", "COLUMNS": "80", "LINES": "24"}
REGION = "lane  doing\nfore  pull bolt 1\n> hol"


def seen(
    monkeypatch: pytest.MonkeyPatch, act: Callable[[Screen], None], **environment: str
) -> Terminal:
    """Let `act` print on a screen of a terminal, and return the terminal as it is then."""
    for name, value in (ENVIRONMENT | environment).items():
        monkeypatch.setenv(name, value)
    hand, theirs = os.openpty()
    columns = int(environment.get("COLUMNS", "80"))
    sized(theirs, columns, 24)
    terminal = Terminal(hand, columns, 24)
    with os.fdopen(theirs, "w", encoding="utf-8") as file:
        console = Console(file=file, highlight=False, soft_wrap=True)
        screen = Screen(lambda text: console.print(text, markup=False), console)
        with screen.shown(lambda width, height: Text(REGION)):
            act(screen)
            file.flush()
            while "the last line" not in terminal.everything:
                assert terminal.read()
            terminal.kept = terminal.picture
    os.close(hand)
    return terminal


def test_every_printed_line_stays_above_the_region(monkeypatch: pytest.MonkeyPatch) -> None:
    """A refusal that the next frame erases is none."""

    def act(screen: Screen) -> None:
        for words in ("not understood: 'dance'", "PROMPT 1\n    1 again\n    2 abort"):
            screen.say(words)
            screen.refresh()
            screen.refresh()
        screen.say("the last line")

    terminal = seen(monkeypatch, act)

    assert terminal.kept.splitlines() == [
        "not understood: 'dance'",
        "PROMPT 1",
        "    1 again",
        "    2 abort",
        "the last line",
        *REGION.splitlines(),
    ]


def test_a_line_longer_than_the_screen_is_wrapped_and_leaves_no_remains(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Counting a wrapped line as one would erase the line above it."""
    words = " ".join(f"word{number}" for number in range(40))

    def act(screen: Screen) -> None:
        screen.say(f"first\n    {words}")
        screen.refresh()
        screen.say("the last line")
        screen.refresh()

    terminal = seen(monkeypatch, act)

    assert " ".join(terminal.kept.split()).startswith(f"first {words} the last line lane doing")
    assert terminal.kept.count("> hol") == 1
    wrapped = [line for line in terminal.kept.splitlines() if "word" in line]
    assert len(wrapped) > 1
    assert all(line.startswith("    word") for line in wrapped)


def test_lines_that_left_the_screen_can_be_scrolled_back_to(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A hold story is longer than a screen."""

    def act(screen: Screen) -> None:
        for number in range(100):
            screen.say(f"line {number}")
        screen.say("the last line")

    terminal = seen(monkeypatch, act)

    shown = f"{terminal.scrolled}\n{terminal.kept}".splitlines()
    assert [one for one in shown if one.startswith("line ")] == [f"line {n}" for n in range(100)]
    assert terminal.kept.endswith(REGION)


@pytest.mark.parametrize(
    "environment", [{"TERM": "dumb"}, {"COLUMNS": "50"}, {"LINES": "10"}], ids=str
)
def test_a_terminal_that_cannot_show_the_table_gets_plain_lines(
    monkeypatch: pytest.MonkeyPatch, environment: dict[str, str]
) -> None:
    """Control sequences on a printing terminal are noise; a squeezed table says nothing."""
    drawn: list[bool] = []

    def act(screen: Screen) -> None:
        drawn.append(screen.is_drawn)
        screen.refresh()
        screen.say("the last line")

    terminal = seen(monkeypatch, act, **environment)

    assert drawn == [False]
    assert bytes(terminal.raw) == b"the last line\r\n"


def test_where_nobody_looks_at_a_terminal_lines_go_where_they_are_kept(tmp_path: Path) -> None:
    """A run in a pipe writes its log."""
    told: list[str] = []
    with (tmp_path / "log").open("w") as file:
        screen = Screen(told.append, Console(file=file))
        with screen.shown(lambda width, height: Text(REGION)):
            screen.say("words")

    assert told == ["words"]
    assert (tmp_path / "log").read_text() == ""
