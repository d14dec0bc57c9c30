"""The reference of verbs, made of the help texts of the command line."""

import inspect
from collections.abc import Iterator
from typing import Any

import typer

from coordinator.cli.app import app

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
    )


def _cell(text: str) -> str:
    return text.replace("|", "\\|")
