"""Where a checker is told to look away, it is said from what and why."""

import re

import pytest

from tests.support.house import place, python_files

MARK = "# type: " + "ignore"
REASONED = re.compile(re.escape(MARK) + r"\[[a-z-]+(, [a-z-]+)*\]  # \S")


def unreasoned(text: str) -> list[int]:
    """Return the lines that have types ignored without a code or without a reason."""
    return [
        number
        for number, line in enumerate(text.splitlines(), 1)
        if MARK in line and not REASONED.search(line)
    ]


def test_every_type_that_is_ignored_has_its_code_and_its_reason() -> None:
    """An ignored finding without a reason hides the next one behind it."""
    found = [
        f"{place(path)}:{number}"
        for path in python_files("coordinator", "sim_arms", "tests")
        for number in unreasoned(path.read_text(encoding="utf-8"))
    ]

    assert found == []


@pytest.mark.parametrize("tail", ["", "[misc]", "  # by name", "[misc] # by name"])
def test_the_search_finds_an_ignored_type_without_code_or_reason(tail: str) -> None:
    """A search that finds nothing must be known to find something."""
    assert unreasoned(f"a = b  {MARK}{tail}\n") == [1]
    assert unreasoned(f"a = b  {MARK}[misc, arg-type]  # by name\n") == []
