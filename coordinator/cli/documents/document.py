"""What every document has, and the one form of an error."""

from typing import Literal

from pydantic import BaseModel, ConfigDict

from coordinator.commissioning.promotion import Missing
from coordinator.operate.where_was_i import Card
from coordinator.sequence.form.diagnostics import Diagnostic


class Part(BaseModel):
    """A part of a document; an unknown key is refused."""

    model_config = ConfigDict(extra="forbid", use_attribute_docstrings=True)


class Document(Part):
    """What every document has."""

    ok: bool
    """True where the exit code is 0, but for `compare`, which is done also where files differ."""


class ErrorDocument(Part):
    """What any verb prints instead of its own document if it could not do what was asked."""

    ok: Literal[False]
    error: str
    """What is wrong and what to do."""
    findings: list[Diagnostic] | None = None
    """What is wrong in files, each with its place."""
    missing: list[Missing] | None = None
    """`run`: the evidence that a party lacks to be real."""
    where: Card | None = None
    """`resume`: where the run was left."""
    changed: list[str] | None = None
    """`resume`: what has changed in the files since the run began."""
