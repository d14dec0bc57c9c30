"""Defects planted in copies of the program: every patch fits, and what was found is found again.

All of them: ``python -m tests.quality.hunting``, which writes `planted.json` and `PLANTED.md`.
"""

from pathlib import Path
from typing import Any

import pytest

from tests.quality.hunting import defects, hash_of_edit, hunt, plant
from tests.quality.planted import NOTHING, TABLE, document, finders, read

PLANTED_MIN = 70
CORE_MIN = 36
SAMPLE = 3
"""For each hunter so many of what it found soonest are looked for again."""
QUICK = ("proof", "unit", "property", "campaign")
CASES_MAX = 200


def soonest() -> list[Any]:
    """Return what each hunter has found soonest, each defect once."""
    found: list[Any] = []
    taken: dict[str, None] = {}
    for hunter in QUICK:
        caught = [
            (one[hunter]["seconds"], name)
            for name, one in read().items()
            if name not in taken
            and one.get(hunter, {}).get("found")
            # What a rule or the clean day finds never comes to a campaign.
            and (hunter != "campaign" or one[hunter].get("by") == "campaign")
        ]
        for _, name in sorted(caught)[:SAMPLE]:
            taken[name] = None
            found.append(pytest.param(name, hunter, id=f"{hunter}-{name}"))
    return found


def test_every_patch_still_fits_the_program(tmp_path: Path) -> None:
    """A defect that cannot be planted any more is no longer looked for."""
    patches = defects()
    for number, patch in enumerate(patches):
        plant(patch, tmp_path / str(number))

    assert len(patches) >= PLANTED_MIN


def test_table_patches_and_what_was_found_agree() -> None:
    """A table of other defects than those that are planted says nothing about these."""
    hunts = read()

    told = {name: one["patch"] for name, one in hunts.items() if name != NOTHING}
    assert told == {one.stem: hash_of_edit(one) for one in defects()}
    assert TABLE.read_text(encoding="utf-8") == document(hunts)
    assert len({one["program"] for one in hunts.values()}) == 1, "one program, one table"


def test_every_defect_of_the_core_was_found_and_nothing_where_nothing_is_planted() -> None:
    """Whatever is wrong in what decides must show somewhere, and only then."""
    hunts = read()

    core = {name: finders(one) for name, one in hunts.items() if one["part"] == "core"}
    assert [name for name, found in core.items() if not found] == []
    assert len(core) >= CORE_MIN
    assert finders(hunts[NOTHING]) == []


@pytest.mark.parametrize(("name", "hunter"), soonest())
def test_what_a_hunter_has_found_it_finds_again(name: str, hunter: str) -> None:
    """A finder that finds nothing planted proves nothing."""
    (patch,) = (one for one in defects() if one.stem == name)
    before = read()[name][hunter]

    caught = hunt(patch, CASES_MAX, (hunter,))[hunter]

    assert caught["found"] == before["found"]
    assert caught.get("again", True), "the small case fails alike from the very beginning"
