"""Names: modules say what they do, tests say what they show, and no word promises too much."""

import ast
import re

from tests.support.house import functions, place, python_files, shipped_files

EMPTY_NAMES = ("utils", "util", "helpers", "helper", "common", "misc", "manager", "base")
WORDS_MIN = 4
"""Chosen: circumstance and outcome cannot be told in fewer words."""
TEST_FILES = [path for path in python_files("tests") if path.name.startswith("test_")]
# Joined from halves, so that this file does not hold what it looks for.
TOO_MUCH = re.compile(
    r"\b(?:(?i:safe" + r"ty[ -]stop|emerg" + r"ency[ -]stop|safe" + r"[ -]state|certi" + r"fied)"
    r"|S" + r"IL|PL [a-e])\b"
)
NEGATED = re.compile(r"\b(?i:no|not|never|none|nor|neither|don't)\b[^.;]*$")


def promises(text: str) -> list[str]:
    """Return the words that promise protection or approval, save where they are denied."""
    return [
        match[0]
        for line in text.splitlines()
        for match in TOO_MUCH.finditer(line)
        if not NEGATED.search(line[: match.start()])
    ]


def test_no_module_has_a_name_that_says_nothing() -> None:
    """What is called `utils` takes in everything and belongs to nobody."""
    files = python_files("coordinator", "sim_arms", "tests")
    names = {part for path in files for part in (*path.parent.parts, path.stem)}

    assert [name for name in EMPTY_NAMES if name in names] == []


def test_every_test_is_named_by_a_sentence_and_gives_its_reason() -> None:
    """The name tells circumstance and outcome, the docstring why it matters."""
    poor: list[str] = []
    count = 0
    for path in TEST_FILES:
        for function in functions(ast.parse(path.read_text(encoding="utf-8"))):
            if not function.name.startswith("test_"):
                continue
            count += 1
            reason = ast.get_docstring(function) or ""
            words = function.name.removeprefix("test_").split("_")
            if len(words) < WORDS_MIN or not re.fullmatch(r"(?s)\S.*[.?:]", reason):
                poor.append(f"{place(path)}:{function.name}")

    assert poor == []
    assert count > 200  # Nothing was quietly left out.


def test_every_module_says_first_what_it_decides_or_does() -> None:
    """One sentence on the first line is what a reader of the folder gets."""
    silent = [
        place(path)
        for path in python_files("coordinator", "sim_arms", "tests")
        if path.read_text(encoding="utf-8").strip()
        and not (ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or "").strip()
    ]

    assert silent == []


def test_no_shipped_file_promises_protection_or_approval() -> None:
    """Our holds are operational; a word that says more could cost somebody a hand."""
    found = {
        place(path): words
        for path in shipped_files()
        if (words := promises(path.read_text(encoding="utf-8")))
    }

    assert found == {}


def test_the_search_for_promises_finds_them_and_lets_denials_pass() -> None:
    """A search that finds nothing must be known to find something."""
    word = "safe" + "ty stop"

    assert promises(f"this is a {word}\nand S" + "IL 2, sill_point") == [word, "S" + "IL"]
    assert promises(f"this is never a {word}") == []
    assert promises(f"it is not slow; it is a {word}") == [word]
