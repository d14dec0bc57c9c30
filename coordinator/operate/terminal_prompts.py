"""Let a person act and answer from the terminal, one line at a time.

A line is an act (`hold`, `reset`, `restart`, ...), or the answer to the open prompt as a word or
as its number in the list; with several prompts open the prompt's number comes first. What was done
by hand wants its check torque with it (`by_hand 3100`, in newton metres), and the name of whoever
did it after that (`by_hand 3100 Ada`). `take` (or
`take Ada`) makes a prompt one's own.
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
from coordinator.core.events import Act, Event
from coordinator.core.plan import Option
from coordinator.core.state import State
from coordinator.live.operator import Acting, Answering, Call, Taking
from coordinator.operate.terminal_words import HELP, Words

WHO = "operator at the terminal"
ACTS = {act.value: act for act in Act}
_ERASE = "\x7f\b"
_ENDS = "\r\n"


class PromptDesk:
    """Knows which prompts are open and turns a line into a call; listens to the coordinator."""

    def __init__(self, words: Words | None = None) -> None:
        self._open: dict[int, tuple[str, ...]] = {}
        self._words = words

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        """Take in one decision."""
        for effect in effects:
            if isinstance(effect, RaisePrompt):
                self._open[effect.number] = tuple(str(option) for option in effect.options)
        still = [prompt.number for prompt in state.prompts]
        self._open = {number: self._open[number] for number in still if number in self._open}

    def read(self, line: str) -> Call | str:
        """Return the call that a line means, or what to tell the person instead."""
        words = line.split()
        if self._words is not None and (said := self._words.read(words)) is not None:
            return said
        if len(words) == 1 and words[0] in ACTS and not self._is_answer(words[0]):
            return Acting(ACTS[words[0]], WHO)
        if len(words) > 1 and words[0].isdecimal() and int(words[0]) in self._open:
            return self._answer(int(words[0]), words[1:])
        if words and len(self._open) == 1:
            return self._answer(next(iter(self._open)), words)
        return self._help(line)

    def _is_answer(self, word: str) -> bool:
        """A word that is both act and option answers the one prompt that asks for it."""
        return len(self._open) == 1 and word in next(iter(self._open.values()))

    def _answer(self, number: int, words: list[str]) -> Call | str:
        options, word = self._open[number], words[0]
        if word == "take":
            return Taking(number, " ".join(words[1:]) or WHO)
        if word.isdecimal() and 1 <= int(word) <= len(options):
            word = options[int(word) - 1]
        if word not in options or (len(words) > 1 and word != Option.BY_HAND):
            return self._help(" ".join(words))
        torque_nm = _number(words[1]) if len(words) > 1 else None
        if len(words) > 1 and torque_nm is None:
            return f"check torque is '{words[1]}', must be a number in N·m; such as: by_hand 3100"
        return Answering(number, word, " ".join(words[2:]) or WHO, torque_nm)

    def _help(self, line: str) -> str:
        prompts = [f"prompt {number}: {', '.join(open_)}" for number, open_ in self._open.items()]
        known = "; ".join([*prompts, f"acts: {', '.join(ACTS)}"])
        known += "; take" if self._open else ""
        known += f"; {HELP}" if self._words is not None else ""
        several = ", with the prompt's number before it" if len(self._open) > 1 else ""
        return f"not understood: '{line.strip()}'{several}; {known}"


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
    def reading(self, take_line: Callable[[str], None]) -> Iterator[None]:
        """Hand each line of standard input to `take_line`, in the running event loop."""
        loop, descriptor = get_running_loop(), sys.stdin.fileno()
        before = termios.tcgetattr(descriptor) if os.isatty(descriptor) else None

        def ready() -> None:
            keys = os.read(descriptor, 1024)
            if not keys:
                loop.remove_reader(descriptor)
            for line in self.take(keys.decode(errors="replace")):
                take_line(line)

        if before is not None:
            tty.setcbreak(descriptor)  # Ctrl-C goes on to be a signal.
        loop.add_reader(descriptor, ready)
        try:
            yield
        finally:
            loop.remove_reader(descriptor)
            if before is not None:
                termios.tcsetattr(descriptor, termios.TCSADRAIN, before)
