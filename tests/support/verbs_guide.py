"""The reference of verbs, made of the help texts of the command line."""

import inspect
import re
from collections.abc import Iterator
from typing import Any

import typer

from coordinator.cli.app import app
from coordinator.cli.documents.declared import VERBS
from coordinator.cli.documents.document import Document

Command = Any
"""A command of the parser that typer brings with it, whose types are private."""


def commands() -> list[tuple[str, Command]]:
    """Return every verb as (its words, its command), sorted as `--help` shows them."""
    return list(_below(typer.main.get_command(app), ""))


def _below(group: Command, before: str) -> Iterator[tuple[str, Command]]:
    for name, command in group.commands.items():
        words = f"{before}{name}"
        if hasattr(command, "commands"):
            yield from _below(command, f"{words} ")
        else:
            yield words, command


def examples_of(command: Command) -> list[str]:
    """Return the example commands in the help of a verb."""
    lines = (command.epilog or "").splitlines()
    return [line.strip() for line in lines if line.startswith("  bothsides ")]


def options_of(command: Command) -> list[tuple[str, str]]:
    """Return what a verb takes as (how it is written, its help); `--help` itself is left out."""
    context = typer.Context(command, info_name="verb")
    rows = [one.get_help_record(context) for one in command.get_params(context)]
    return [(row[0], row[1]) for row in rows if row is not None and row[0] != "--help"]


def verbs() -> str:
    """Return the reference: what each verb does, how it is called, what it takes."""
    return "\n".join(_section(words, command) for words, command in commands())


def _section(words: str, command: Command) -> str:
    note = (command.epilog or "").partition("\n\n")[2]
    rows = "".join(
        f"| {_cell(f'`{written}`')} | {_cell(text)} |\n" for written, text in options_of(command)
    )
    shown = "\n".join(examples_of(command))
    text = inspect.cleandoc(command.help or "")
    end = f"\n{note}\n" if note else ""
    return (
        f"### `{words}`\n\n{text}\n\n```sh\n{shown}\n```\n{end}\n"
        f"| argument or option | means |\n|---|---|\n{rows}"
        + "".join(_keys(one) for one in VERBS.get(words, ()))
    )


def _keys(document: type[Document]) -> str:
    """Return the keys of a document as a table; those that may be missing say so."""
    fields = {name: one for name, one in document.model_fields.items() if name != "ok"}
    when = inspect.cleandoc(document.__doc__ or "").rstrip(".")
    rows = "".join(
        f"| `{name}` | {_cell(_kind(one.annotation))}{'' if one.is_required() else ', or left out'}"
        f" | {_cell(one.description or '')} |\n"
        for name, one in fields.items()
    )
    table = f"\n| key | holds | |\n|---|---|---|\n{rows}" if rows else ""
    return f"\nDocument of {when}: `ok`{', and' if rows else ''}\n{table}"


def _kind(annotation: object) -> str:
    """Return the type of a key in the words of JSON."""
    text = str(annotation) if "[" in str(annotation) else getattr(annotation, "__name__", "")
    text = re.sub(r"[\w.]+\.", "", text or str(annotation)).replace("typing.", "")
    for python, json in (("str", "text"), ("bool", "true or false"), ("NoneType", "null")):
        text = re.sub(rf"\b{python}\b", json, text)
    return text.replace("None", "null").replace(" | ", " or ")


def _cell(text: str) -> str:
    return text.replace("|", "\\|")
