"""Let a person act and answer from the terminal, one line at a time.

A line is an act (`hold`, `reset`, `restart`, ...), or the answer to the open prompt as a word or
as its number in the list; with several prompts open the prompt's number comes first. What was done
by hand wants its check torque with it (`by_hand 3100`, in newton metres), and the name of whoever
did it after that (`by_hand 3100 Ada`). `take` (or `take Ada`) makes a prompt one's own. `help`
lists what can be typed at this moment.
"""

import contextlib
import math
import os
import sys
import termios
import tty
from asyncio import get_running_loop
from collections.abc import Callable, Iterator

from coordinator.core.effects import Effect, RaisePrompt
from coordinator.core.events import (
    Act,
    Event,
    OperatorActed,
    PersonEvent,
    PromptAnswered,
    PromptTaken,
)
from coordinator.core.plan import Option
from coordinator.core.state import State
from coordinator.lifecycles import PROCEDURE
from coordinator.live.prompt_words import prompt_words
from coordinator.operate.terminal_words import HELP, Words

WHO = "operator at the terminal"
ACTS = {act.value: act for act in Act}
_ERASE = "\x7f\b"
_ENDS = "\r\n"


class PromptDesk:
    """Knows which prompts are open and turns a line into a call; listens to the coordinator."""

    def __init__(self, words: Words | None = None) -> None:
        self.opened: dict[int, RaisePrompt] = {}
        """The open prompts by their numbers."""
        self._phase = PROCEDURE.initial
        self._words = words

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        """Take in one decision."""
        self._phase = state.phase
        for effect in effects:
            if isinstance(effect, RaisePrompt):
                self.opened[effect.number] = effect
        still = [prompt.number for prompt in state.prompts]
        self.opened = {number: self.opened[number] for number in still if number in self.opened}

    def read(self, line: str) -> PersonEvent | str:
        """Return the call that a line means, or what to print for the person instead."""
        words = line.split()
        if words == ["help"]:
            return self.help()
        if self._words is not None and (said := self._words.read(words)) is not None:
            return said
        if len(words) == 1 and words[0] in ACTS and not self._is_answer(words[0]):
            return OperatorActed(0, ACTS[words[0]], WHO)
        if len(words) > 1 and words[0].isdecimal() and int(words[0]) in self.opened:
            return self._answer(int(words[0]), words[1:])
        if words and len(self.opened) == 1:
            return self._answer(next(iter(self.opened)), words)
        return self._not_understood(line)

    def how(self) -> str:
        """Return how the open prompts are answered, empty if none is open."""
        if not self.opened:
            return ""
        number, raised = next(iter(self.opened.items()))
        if len(self.opened) > 1:
            numbers = " and ".join(str(one) for one in self.opened)
            return (
                f"prompts {numbers} are open: type the prompt's number first, such as: "
                f"{number} {raised.options[0]}"
            )
        by_hand = "; by hand with its torque: by_hand 3100" if "by_hand" in raised.options else ""
        return f"type the answer or its number, such as: {raised.options[0]}{by_hand}"

    def help(self) -> str:
        """Return what can be typed at this moment."""
        lines = [f"what can be typed now (the procedure is {self._phase}):"]
        for raised in self.opened.values():
            options = ", ".join(f"{place} {one}" for place, one in enumerate(raised.options, 1))
            text = f"PROMPT {raised.number}: {options}"
            lines += (
                text if self._words is None else prompt_words(self._words.plan, raised)
            ).split("\n")
        if self.opened:
            lines += [self.how(), "take: makes a prompt yours; take NAME for somebody else"]
        acts = [act for act in ACTS if PROCEDURE.may(self._phase, act) or act == Act.RESET]
        lines.append(f"acts: {', '.join(acts)}")
        if self._words is not None:
            lines += HELP.split("; ")
        lines.append("Ctrl-C: holds every party and leaves; `bothsides resume` goes on")
        return "\n  ".join(lines)

    def _is_answer(self, word: str) -> bool:
        """A word that is both act and option answers the one prompt that asks for it."""
        return len(self.opened) == 1 and word in next(iter(self.opened.values())).options

    def _answer(self, number: int, words: list[str]) -> PersonEvent | str:
        options, word = self.opened[number].options, words[0]
        if word == "take":
            return PromptTaken(0, number, " ".join(words[1:]) or WHO)
        if word.isdecimal() and 1 <= int(word) <= len(options):
            word = options[int(word) - 1]
        if word not in options or (len(words) > 1 and word != Option.BY_HAND):
            return self._not_understood(" ".join(words))
        torque_nm = _number(words[1]) if len(words) > 1 else None
        if len(words) > 1 and torque_nm is None:
            return f"check torque is '{words[1]}', must be a number in N·m; such as: by_hand 3100"
        return PromptAnswered(0, number, word, WHO, torque_nm, " ".join(words[2:]))

    def _not_understood(self, line: str) -> str:
        how = f"; {self.how()}" if self.opened else ""
        return f"not understood: '{line.strip()}'{how}; type help for all that can be typed now"


def _number(word: str) -> float | None:
    try:
        number = float(word)
    except ValueError:
        return None
    return number if math.isfinite(number) and number >= 0.0 else None


class TerminalInput:
    """Reads keys without echo, so that what is typed and what is drawn keep apart."""

    def __init__(self) -> None:
        self.typed = ""

    def take(self, text: str) -> list[str]:
        """Take keys in and return the lines that they end."""
        lines: list[str] = []
        for key in text:
            if key in _ENDS:
                if self.typed.strip():
                    lines.append(self.typed)
                self.typed = ""
            elif key in _ERASE:
                self.typed = self.typed[:-1]
            elif key.isprintable():
                self.typed += key
        return lines

    @contextlib.contextmanager
    def reading(
        self, take_line: Callable[[str], None], show: Callable[[], None] | None
    ) -> Iterator[None]:
        """Hand each line of standard input to `take_line`, in the running event loop.

        Args:
            take_line: Takes a line.
            show: Shows what has been typed so far; None where the terminal echoes by itself.
        """
        loop, descriptor = get_running_loop(), sys.stdin.fileno()
        is_quiet = show is not None and os.isatty(descriptor)
        before = termios.tcgetattr(descriptor) if is_quiet else None

        def ready() -> None:
            keys = os.read(descriptor, 1024)
            if not keys:
                loop.remove_reader(descriptor)
            for line in self.take(keys.decode(errors="replace")):
                take_line(line)
            if show is not None:
                show()

        if before is not None:
            tty.setcbreak(descriptor)  # Ctrl-C goes on to be a signal.
        loop.add_reader(descriptor, ready)
        try:
            yield
        finally:
            loop.remove_reader(descriptor)
            if before is not None:
                termios.tcsetattr(descriptor, termios.TCSADRAIN, before)
