"""Print for people and for scripts: `--json` gives one document on stdout, text on stderr."""

import json
from dataclasses import dataclass, field
from enum import IntEnum
from typing import Any

from rich.console import Console

PIPE_WIDTH = 160
"""Columns where there is no terminal to ask; chosen so that no table is cut."""


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
    people: Console = field(default_factory=Console)

    @classmethod
    def of(cls, is_json: bool) -> "Output":
        """Return where things go; people's text leaves stdout to the document."""
        people = Console(stderr=is_json, highlight=False, soft_wrap=True)
        if not people.is_terminal:
            people.width = PIPE_WIDTH
        return cls(is_json, people)

    def say(self, text: str) -> None:
        """Tell a person."""
        self.people.print(text, markup=False)

    def document(self, **content: Any) -> None:
        """Print the one document, if documents are wanted."""
        if self.is_json:
            print(json.dumps(content, ensure_ascii=False, allow_nan=False))

    def refuse(self, text: str) -> Exit:
        """Say why nothing is done, and return how the program ends."""
        self.say(text)
        self.document(ok=False, error=text)
        return Exit.BAD_USE
