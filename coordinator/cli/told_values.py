"""What every verb's errors of use have in common: the value given is named, the form is one.

Scripts and shells change values, so a complaint says what was given. With ``--json`` a wrong option
or verb gives the same document on stdout as any other error does.
"""

import sys
from collections.abc import Sequence
from typing import Any

import typer
from pydantic import ValidationError
from typer.core import TyperGroup
from typer.exceptions import TyperException

from coordinator.cli.output import Output


class Verbs(TyperGroup):
    """All verbs; a value that is refused is named."""

    def invoke(self, ctx: Any) -> Any:
        """Run the verb that is asked for."""
        try:
            return super().invoke(ctx)
        except typer.BadParameter as error:
            cause = error.__cause__
            if isinstance(cause, ValidationError):
                first = cause.errors(include_url=False)[0]
                must = first["msg"].replace("Input should be", "must be").split(", unable")[0]
                error.message = f"it is '{first['input']}', {must}"
            raise

    def main(self, args: Sequence[str] | None = None, *others: Any, **more: Any) -> Any:
        """Run the program on its words; leave with its exit code."""
        words = list(sys.argv[1:] if args is None else args)
        if "--json" not in words or not more.get("standalone_mode", True):
            return super().main(words, *others, **more)
        try:
            sys.exit(super().main(words, *others, **more | {"standalone_mode": False}))
        except TyperException as error:
            sys.exit(Output.of(True).refuse(error.format_message()))
