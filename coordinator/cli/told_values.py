"""Say in every complaint about an option what was given, since scripts and shells change values."""

from typing import Any

import typer
from pydantic import ValidationError
from typer.core import TyperGroup


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
