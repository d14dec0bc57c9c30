"""The help of every verb is whole, and its examples are commands that the program takes."""

import shlex

import pytest
import typer

from coordinator.cli.app import app
from tests.support.verbs_guide import Command, commands, examples_of, options_of

VERBS = commands()
EXAMPLES = [(words, one) for words, command in VERBS for one in examples_of(command)]


@pytest.mark.parametrize(("words", "command"), VERBS, ids=[words for words, _ in VERBS])
def test_a_verb_says_what_it_does_and_what_each_option_means(words: str, command: Command) -> None:
    """An option without help has to be guessed, and a verb without an example as well."""
    bare = [written for written, text in options_of(command) if not text.partition("[")[0].strip()]

    assert (command.help or "").strip()
    assert bare == []
    assert examples_of(command)


@pytest.mark.parametrize(("words", "example"), EXAMPLES, ids=[one for _, one in EXAMPLES])
def test_an_example_in_the_help_is_taken_by_the_verb_that_shows_it(
    words: str, example: str
) -> None:
    """Options are renamed more readily than help is read again."""
    command = typer.main.get_command(app)
    given = shlex.split(example)[1:]
    for word in words.split():
        assert given.pop(0) == word
        command = command.commands[word]  # type: ignore[attr-defined]  # groups alone have them

    context = command.make_context(words, given)

    assert context.params
