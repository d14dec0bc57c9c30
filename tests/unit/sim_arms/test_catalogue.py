"""The catalogue of causes: whole, checked, and of the size that was promised."""

import re
from pathlib import Path

import pytest

from sim_arms.catalogue import CATALOGUE, FILE, CatalogueError, read_catalogue

CELL = Path(__file__).parents[3] / "sequences" / "cells" / "sill_point.yaml"
GOOD = """
[rust]
code = "CAU001"
text = "rust"
physics = "it sticks"
applies_to = "bolt"
shows_as = []
detected = "by eye"
signature = "red"
recovery = "oil"
retried = false
source = "common practice, no source"
"""


def test_there_are_at_least_thirty_five_causes_each_with_its_own_code() -> None:
    """Codes are never reused, so their numbers run without a gap while none is taken out."""
    codes = [kind.code for kind in CATALOGUE.values()]

    assert codes == [f"CAU{number:03}" for number in range(1, len(codes) + 1)]
    assert len(codes) >= 35


def test_every_cause_names_its_source_or_says_that_it_has_none() -> None:
    """A trade fact without a source must say so."""
    told = [kind.source for kind in CATALOGUE.values()]

    known = ("no source", "chosen", "ISO", "OASIS")
    assert all(any(word in one for word in known) for one in told)


def test_what_a_cell_never_tries_again_alone_no_cause_allows_to_be_tried_again() -> None:
    """Where every way of showing asks for a person, so must the catalogue."""
    text = CELL.read_text(encoding="utf-8")
    alone = re.findall(r"^  (\w+): \{text: [^}]*alone: no\}", text, re.MULTILINE)

    wrong = [
        kind.name
        for kind in CATALOGUE.values()
        if kind.shows_as and kind.retried and all(fault in alone for fault in kind.shows_as)
    ]

    assert len(alone) == 10
    assert wrong == ["loss"]  # Asked again within the cell's bound before it counts as silent.


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        ('text = "rust"\n', "", r"rust\.text\s+Field required"),
        (
            '"bolt"',
            '"nut"',
            r"rust\.applies_to\s+Input should be 'bolt', 'side', 'floor'",
        ),
        ('"CAU001"', '"X1"', r"rust\.code\s+String should match pattern"),
        ("retried = false", 'retried = "no"', r"rust\.retried\s+Input should be a valid boolean"),
        ("shows_as = []", "shows_as = [1]", r"rust\.shows_as\.0\s+Input should be a valid string"),
        (
            "retried = false",
            "retried = false\ntimes = 0",
            r"rust\.times\s+Input should be greater",
        ),
        (
            "retried = false",
            "retried = false\nrust = 1",
            r"rust\.rust\s+Unexpected keyword",
        ),
        (
            "retried = false",
            'retried = false\nparameters = { deep = ["depth", 1] }',
            r"rust\.parameters\.deep\.0\s+Input should be 'length', 'angle'",
        ),
        ("[rust]", "[rust", "not TOML"),
    ],
)
def test_a_catalogue_that_is_not_whole_is_refused_with_cause_and_key(
    before: str, after: str, told: str
) -> None:
    """Whoever adds a cause must be told what is missing."""
    assert list(read_catalogue(GOOD)) == ["rust"]

    with pytest.raises(CatalogueError, match=told):
        read_catalogue(GOOD.replace(before, after, 1))


def test_a_code_given_twice_is_refused() -> None:
    """Two causes of one code could not be told apart in a record."""
    twice = GOOD + GOOD.replace("[rust]", "[more_rust]")

    with pytest.raises(CatalogueError, match="is CAU001, as of 'rust', must be its own"):
        read_catalogue(twice)


def test_the_catalogue_is_one_file_of_data() -> None:
    """Guides and pages of any language can read it."""
    assert list(read_catalogue(FILE.read_text(encoding="utf-8"))) == list(CATALOGUE)
