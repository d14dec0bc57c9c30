"""Defects of procedures are found, each by the rule or the property that is there for it."""

from datetime import date
from pathlib import Path
from typing import NamedTuple

import pytest
import yaml

from coordinator.prove import Limits, explore
from coordinator.sequence import SequenceError, load
from tests.support.altered_files import copied

DEFECTS_MIN = 40
TODAY = date(2026, 11, 25)


class Defect(NamedTuple):
    """One edit of a shipped file, and what must find it."""

    name: str
    file: str
    found: str
    old: str = ""
    new: str = ""
    add: str = ""
    of: str = ""
    """The sequence to judge, where another file than its own is edited."""
    causes: int = 0


DEFECTS = tuple(
    Defect(**one)
    for one in yaml.safe_load(
        (Path(__file__).parent / "seeded_defects.yaml").read_text(encoding="utf-8")
    )
)


def _told(folder: Path, defect: Defect) -> list[str]:
    """Return the codes of the rules, or else the properties, that an edited sequence breaks."""
    target = copied(folder)
    edited = target / defect.file
    text = edited.read_text(encoding="utf-8")
    assert defect.old in text
    edited.write_text(text.replace(defect.old, defect.new, 1) + defect.add, encoding="utf-8")
    try:
        loaded = load(target / (defect.of or defect.file), today=TODAY)
    except SequenceError as error:
        return [one.code for one in error.diagnostics]
    found = explore(loaded.plan, Limits(defect.causes), properties=loaded.properties)
    assert found.is_complete
    return [one.property for one in found.violations]


@pytest.mark.parametrize("defect", DEFECTS, ids=lambda one: one.name)
def test_a_defect_of_a_procedure_is_found_by_what_is_there_for_it(
    defect: Defect, tmp_path: Path
) -> None:
    """An author must be told what is wrong, not merely that something is."""
    assert defect.found in _told(tmp_path, defect)


def test_there_are_defects_enough_and_each_has_a_name_of_its_own() -> None:
    """A list that shrinks would find less and say nothing."""
    assert len({one.name for one in DEFECTS}) == len(DEFECTS) >= DEFECTS_MIN
    assert any(one.found.startswith("properties.") for one in DEFECTS)
    assert any(one.found in ("way_to_complete", "no_deadlock") for one in DEFECTS)
