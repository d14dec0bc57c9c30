"""SPIN, from a model of its own, comes to the verdict of our proof: on good files and on bad."""

from pathlib import Path

import pytest

from coordinator.prove import Limits, explore
from coordinator.sequence import load
from tests.quality.test_seeded_defects import DEFECTS, TODAY, Defect
from tests.support.altered_files import copied
from tests.support.promela import ask_spin
from tests.support.promela.spin import STUCK
from tests.support.sequence_files import SEQUENCES
from tests.support.spoilt_plans import SPOILT

SHIPPED = tuple(sorted(path.stem for path in SEQUENCES.glob("*.yaml")))
WITH_A_CAUSE = ("breakout_8", "change_tools", "makeup_8", "park", "replace_bolt")
"""Whose own proof with one cause, as of all others, is part of `tests/all.sh`."""
NO_PROGRESS = {"no_deadlock", "way_to_complete", "way_to_end", "nothing_left_out"}
PROVED_LATER = tuple(one for one in DEFECTS if not one.found.startswith("SEQ"))


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_sequence_is_proved_by_both_where_nothing_goes_wrong(name: str) -> None:
    """Two readings of one file must not differ."""
    plan = load(SEQUENCES / f"{name}.yaml").plan

    assert (explore(plan, Limits(0)).is_proved, ask_spin(plan, (), 0).is_proved) == (True, True)


@pytest.mark.parametrize("name", WITH_A_CAUSE)
def test_a_shipped_sequence_is_proved_by_spin_whatever_one_thing_goes_wrong(name: str) -> None:
    """Faults, holds, questions and restarts have the same meaning in both."""
    opinion = ask_spin(load(SEQUENCES / f"{name}.yaml").plan, (), 1)

    assert (opinion.broken, opinion.is_complete) == ("", True)


@pytest.mark.parametrize("defect", PROVED_LATER, ids=lambda one: one.name)
def test_a_defect_that_no_rule_finds_is_found_by_spin_under_the_same_name(
    defect: Defect, tmp_path: Path
) -> None:
    """All that get as far as the proof are inside what the model holds."""
    target = copied(tmp_path)
    edited = target / defect.file
    text = edited.read_text(encoding="utf-8").replace(defect.old, defect.new, 1) + defect.add
    edited.write_text(text, encoding="utf-8")
    loaded = load(target / (defect.of or defect.file), today=TODAY)

    opinion = ask_spin(loaded.plan, loaded.properties, defect.causes)

    assert opinion.broken == (STUCK if defect.found in NO_PROGRESS else defect.found)


@pytest.mark.parametrize("name", SPOILT)
def test_a_plan_that_no_file_could_give_is_found_broken_by_both(
    name: str,
) -> None:
    """The rules would refuse most of these: both must find them without the rules."""
    plan, causes, spin_says = SPOILT[name]

    assert not explore(plan, Limits(causes)).is_proved
    assert ask_spin(plan, (), causes).broken == spin_says


def test_a_search_that_its_memory_cuts_is_no_proof() -> None:
    """A bound that was met is told, and never ends in good."""
    plan = load(SEQUENCES / "makeup_8.yaml").plan

    opinion = ask_spin(plan, (), 2, memory_mb=420)

    assert (opinion.is_complete, opinion.is_proved, opinion.broken) == (False, False, "")
