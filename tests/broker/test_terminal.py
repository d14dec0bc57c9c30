"""The verb `run` at a person's terminal: what was printed stays, and every answer is seen."""

from pathlib import Path

import pytest

from tests.support.page_sequence import write_page_sequence
from tests.support.terminals import Terminal, at_terminal

pytestmark = [pytest.mark.broker, pytest.mark.timeout(120)]
SPEED = "10"
ASKED = "PROMPT 1, for the inspector, bolts looked at, hold_point"
ANSWERS = (
    "1 release: goes on from here",
    "2 hold: holds both arms; after a restart the point is asked about again",
    "3 abort: ends the procedure where it stands",
)


def run_of(folder: Path) -> tuple[str, ...]:
    """Return the words that run a sequence which asks at once."""
    sequence = str(write_page_sequence(folder))
    return ("run", sequence, "--out", str(folder / "out"), "--speed", SPEED, "--look-ahead", "0")


def wait_for_frames(terminal: Terminal) -> None:
    """Read on while the table is drawn anew several times: what it erases is gone by then."""
    for _ in range(3):
        terminal.wait_for_more()


def test_a_prompt_shows_all_its_answers_on_a_screen_of_80_by_24(tmp_path: Path) -> None:
    """The table used to erase them: the person saw a question and not what could be answered."""
    with at_terminal(*run_of(tmp_path)) as (terminal, _):
        terminal.wait_for(ANSWERS[-1])
        wait_for_frames(terminal)

        picture = terminal.picture
        assert ASKED in picture
        assert all(answer in picture for answer in ANSWERS)
        assert "type the answer or its number, such as: release" in picture
        assert picture.splitlines()[-1] == ">"


def test_a_refusal_of_the_core_stays_above_the_table(tmp_path: Path) -> None:
    """Ada took the prompt; an answer in another name is refused, and that must be read."""
    with at_terminal(*run_of(tmp_path)) as (terminal, _):
        terminal.wait_for(ANSWERS[-1])
        terminal.type("take Ada")
        terminal.wait_for("Ada takes prompt 1")
        terminal.type("release")
        refusal = "answer 'release' by operator at the terminal: prompt 1 is Ada's; take it over"
        terminal.wait_for(refusal)
        terminal.type("dance")
        terminal.wait_for("not understood: 'dance'")
        wait_for_frames(terminal)

        assert refusal in " ".join(terminal.picture.split())
        assert "> release" in terminal.picture
        assert "not understood: 'dance'" in terminal.picture


def test_a_hold_is_told_with_its_story_and_help_says_what_comes_next(tmp_path: Path) -> None:
    """Whoever is called to a held cell reads what came first, then what may be done."""
    with at_terminal(*run_of(tmp_path)) as (terminal, process):
        terminal.wait_for(ANSWERS[-1])
        terminal.type("hold")
        terminal.wait_for("every party stands: held")
        terminal.type("help")
        terminal.wait_for("acts: reset, restart, stop, abort")
        wait_for_frames(terminal)

        assert "HOLD at" in terminal.everything
        assert "what can be typed now (the procedure is held)" in terminal.everything
        terminal.type("abort")
        terminal.wait_for("ended aborted")
        assert process.wait(20.0) == 3
        assert "HOLD at" in terminal.everything


@pytest.mark.parametrize(("columns", "kind"), [(80, "dumb"), (40, "xterm-256color")])
def test_a_terminal_that_cannot_show_the_table_gets_lines_and_echoes_what_is_typed(
    tmp_path: Path, columns: int, kind: str
) -> None:
    """A serial console or a narrow window: nothing is drawn, nothing is lost, answers count."""
    with at_terminal(*run_of(tmp_path), columns=columns, kind=kind) as (terminal, _):

        def wait_for(words: str) -> None:
            # The terminal breaks lines inside words, so what was sent is looked at.
            terminal.wait_until(lambda: words in terminal.raw.decode(errors="ignore"))

        wait_for(ANSWERS[-1])
        wait_for("aft: change tool wrench; next: seat wrench bolt 5")
        terminal.type("release")
        wait_for("operator at the terminal answers release")

        assert b"\x1b" not in terminal.raw
        assert b"release\r\n" in terminal.raw  # The terminal itself shows the typed line.
