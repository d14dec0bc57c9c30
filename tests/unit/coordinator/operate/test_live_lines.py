"""What is drawn of a run: every answer of every open prompt, whatever the size of the terminal."""

import io

import pytest
from rich.console import Console

from coordinator.core.decide import begin
from coordinator.core.effects import Notify, RaisePrompt
from coordinator.core.events import TimePassed
from coordinator.core.plan import Option
from coordinator.core.state import OpenPrompt
from coordinator.operate.live_lines import LiveLines
from coordinator.operate.screen import Screen
from coordinator.operate.terminal_prompts import PromptDesk
from tests.support.small_plan import small_plan

PLAN = small_plan()
ALL = tuple(option.value for option in Option)


def asked(*numbers: int, options: tuple[str, ...] = ALL) -> tuple[LiveLines, list[str]]:
    """Return the lines after prompts of these numbers were raised, and what was printed."""
    told: list[str] = []
    desk = PromptDesk()
    idle = begin(PLAN)
    lines = LiveLines(PLAN, idle, lambda: 0, Screen(told.append), desk=desk, typed=lambda: "8 ag")
    raised = tuple(RaisePrompt(one, -1, 0, 0, "leak", options) for one in numbers)
    prompts = tuple(OpenPrompt(one, -1, 0, 0, "leak") for one in numbers)
    for listener in (desk, lines):
        listener(TimePassed(0), raised, idle._replace(prompts=prompts))
    return lines, told


def picture(lines: LiveLines, width: int, height: int) -> list[str]:
    """Return the region as the lines of a terminal."""
    console = Console(file=io.StringIO(), width=width, record=True, highlight=False)
    console.print(lines.region(width, height))
    return console.export_text().splitlines()


@pytest.mark.parametrize("numbers", [(7,), (7, 8), (7, 8, 9)], ids=len)
@pytest.mark.parametrize("size", [(60, 24), (80, 24), (120, 40)], ids=str)
def test_every_answer_of_every_open_prompt_is_drawn(
    numbers: tuple[int, ...], size: tuple[int, int]
) -> None:
    """An answer that nobody sees cannot be chosen; all nine that there are are offered here."""
    drawn = picture(asked(*numbers)[0], *size)

    words = " ".join(" ".join(drawn).split())
    for place, option in enumerate(ALL, start=1):
        assert words.count(f"{place} {option}") == len(numbers)
    assert len(drawn) < size[1]
    assert drawn[-1] == "> 8 ag"


def test_with_room_each_answer_stands_beside_what_it_does() -> None:
    """A word alone does not say what it leads to."""
    drawn = picture(asked(7)[0], 80, 24)

    assert "    1 again: makes the recovery moves and tries once more" in drawn


def test_two_open_prompts_say_how_each_is_answered() -> None:
    """A bare answer would be refused, and the person must know that before."""
    lines, told = asked(7, 8, options=("again", "abort"))

    how = "prompts 7 and 8 are open: type the prompt's number first, such as: 7 again"
    assert how in picture(lines, 80, 24)
    assert [line.strip() for line in told].count(how) == 2  # Beneath each of the two.


def test_a_refusal_is_printed() -> None:
    """What a person asked for and did not get must be read somewhere."""
    told: list[str] = []
    lines = LiveLines(PLAN, begin(PLAN), lambda: 0, Screen(told.append), desk=PromptDesk())

    lines(TimePassed(0), (Notify("warning", "answer_unknown", "prompt 7 is Ada's"),), begin(PLAN))

    assert told[0] == "0:00.00 warning: prompt 7 is Ada's"
