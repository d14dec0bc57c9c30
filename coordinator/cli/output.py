"""Print for people and for scripts: `--json` gives one document on stdout, text on stderr."""

import json
from dataclasses import dataclass, field
from enum import IntEnum
from typing import Any

from rich.console import Console

PIPE_WIDTH = 160
"""Columns where there is no terminal to ask; chosen so that no table is cut."""


def plain_console(*, stderr: bool = False) -> Console:
    """Return a console that prints what people and editors read as it is.

    `a.yaml:100:13` holds no picture of a hundred, and a text of a user no colours.
    """
    return Console(stderr=stderr, highlight=False, soft_wrap=True, markup=False, emoji=False)


class Exit(IntEnum):
    """What the program tells scripts."""

    GOOD = 0
    FINDINGS = 1
    """Checks failed, or the joint is not accepted."""
    BAD_USE = 2
    """Bad use, or input that cannot be read."""
    HELD = 3
    """Ended held, stopped or aborted."""


@dataclass(slots=True)
class Output:
    """Where text and documents go."""

    is_json: bool = False
    people: Console = field(default_factory=plain_console)
    errors: Console = field(default_factory=lambda: plain_console(stderr=True))

    @classmethod
    def of(cls, is_json: bool) -> "Output":
        """Return where things go; people's text leaves stdout to the document."""
        people = plain_console(stderr=is_json)
        errors = plain_console(stderr=True)
        for console in (people, errors):
            if not console.is_terminal:
                console.width = PIPE_WIDTH
        return cls(is_json, people, errors)

    def say(self, text: str) -> None:
        """Tell a person."""
        self.people.print(text, markup=False)

    def document(self, **content: Any) -> None:
        """Print the one document, if documents are wanted."""
        if self.is_json:
            print(json.dumps(content, ensure_ascii=False, allow_nan=False))

    def refuse(self, text: str, **more: Any) -> Exit:
        """Report on stderr why nothing is done, and return how the program ends."""
        self.error(text, **more)
        return Exit.BAD_USE

    def error(self, text: str, *, shown: str = "", **more: Any) -> None:
        """Report an error on stderr, `shown` if it is longer, and in the one form of documents."""
        self.errors.print(shown or text, markup=False)
        self.document(ok=False, error=text, **more)


def counted(number: int, noun: str) -> str:
    """Return a number with its noun, such as `1 record` or `2 records`."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
