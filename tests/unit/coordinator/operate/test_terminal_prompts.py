"""What a person types: acts, answers, and what is neither."""

import pytest

from coordinator.core.effects import RaisePrompt
from coordinator.core.events import Act, OperatorActed, PromptAnswered, PromptTaken, TimePassed
from coordinator.core.state import OpenPrompt, Phase, State
from coordinator.operate.terminal_prompts import WHO, PromptDesk, TerminalInput

OPTIONS = ("again", "hold", "abort")


def desk_with(*numbers: int) -> PromptDesk:
    """Return a desk at which prompts of these numbers are open."""
    desk = PromptDesk()
    effects = tuple(RaisePrompt(number, 0, 0, 0, "leak", OPTIONS) for number in numbers)
    prompts = tuple(OpenPrompt(number, 0, 0, 0, "leak") for number in numbers)
    desk(TimePassed(0), effects, State(Phase.RUNNING, (), (), (), (), prompts=prompts))
    return desk


@pytest.mark.parametrize("act", list(Act))
def test_every_act_of_the_procedure_is_a_word(act: Act) -> None:
    """Nothing that the page can do may be missing at the terminal."""
    assert desk_with().read(f" {act.value} \n") == OperatorActed(0, act, WHO)


@pytest.mark.parametrize("line", ["again", "1", "7 again", "7 1"])
def test_the_only_open_prompt_takes_a_word_or_a_place(line: str) -> None:
    """A person in a hurry types the shortest."""
    assert desk_with(7).read(line) == PromptAnswered(0, 7, "again", WHO)


def test_a_word_that_is_act_and_option_answers_the_only_open_prompt() -> None:
    """The prompt offers `hold` itself, with the meaning that its author gave it."""
    assert desk_with(7).read("hold") == PromptAnswered(0, 7, "hold", WHO)


def test_with_two_prompts_open_a_bare_option_answers_neither() -> None:
    """Guessing which side is meant could send the wrong one."""
    told = desk_with(7, 8).read("again")

    assert isinstance(told, str)
    assert "prompts 7 and 8 are open" in told
    assert "such as: 7 again" in told
    assert desk_with(7, 8).read("8 again") == PromptAnswered(0, 8, "again", WHO)


def test_a_prompt_that_was_answered_is_open_no_more() -> None:
    """A late answer must not count for something else."""
    desk = desk_with(7)
    desk(TimePassed(1), (), State(Phase.RUNNING, (), (), (), ()))

    assert isinstance(desk.read("7 again"), str)


@pytest.mark.parametrize("line", ["", "4", "0", "7 4", "9 again", "again now please"])
def test_what_is_not_offered_is_told_and_does_nothing(line: str) -> None:
    """A slip of the finger is no answer."""
    assert isinstance(desk_with(7).read(line), str)


def test_work_by_hand_is_told_with_its_torque_and_by_whom() -> None:
    """The record must say manual, to what torque, and whose hands it was."""
    desk = PromptDesk()
    effects = (RaisePrompt(7, 0, 0, 0, "leak", ("again", "by_hand")),)
    prompts = (OpenPrompt(7, 0, 0, 0, "leak"),)
    desk(TimePassed(0), effects, State(Phase.RUNNING, (), (), (), (), prompts=prompts))

    by_ada = PromptAnswered(0, 7, "by_hand", WHO, 3100.0, "Ada Lind")
    assert desk.read("by_hand 3100 Ada Lind") == by_ada
    assert desk.read("7 2 3100") == PromptAnswered(0, 7, "by_hand", WHO, 3100.0)
    for wrong in ("by_hand much", "by_hand -5", "by_hand nan"):
        assert "must be a number" in str(desk.read(wrong))


def test_a_prompt_is_taken_by_a_word() -> None:
    """One owner: whoever has taken it answers it."""
    assert desk_with(7).read("take Ada") == PromptTaken(0, 7, "Ada")
    assert desk_with(7, 8).read("8 take") == PromptTaken(0, 8, WHO)


def test_help_lists_what_can_be_typed_at_this_moment() -> None:
    """Whoever does not know the words must not have to guess them; what is refused is not there."""
    told = desk_with(7, 8).read("help")

    assert isinstance(told, str)
    assert "PROMPT 7: 1 again, 2 hold, 3 abort" in told
    assert "PROMPT 8: 1 again, 2 hold, 3 abort" in told
    assert "type the prompt's number first" in told
    [acts] = [line.strip() for line in told.splitlines() if "acts:" in line]
    assert acts == "acts: pause, hold, reset, stop, abort"  # The desk's procedure is running.


def test_help_before_the_start_offers_no_answer() -> None:
    """Nothing is asked yet."""
    told = PromptDesk().read("help")

    assert isinstance(told, str)
    assert "acts: start" in told
    assert "take" not in told


def test_keys_become_lines_with_the_last_one_erased() -> None:
    """Keys come one by one from a terminal without echo."""
    keys = TerminalInput()

    assert keys.take("hox") == []
    assert keys.take("\x7fl") == []
    assert keys.typed == "hol"
    assert keys.take("d\rres") == ["hold"]
    assert keys.typed == "res"
