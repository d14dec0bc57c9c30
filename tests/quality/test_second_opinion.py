"""SPIN, from a model of its own, comes to the verdict of our proof: on good files and on bad."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from coordinator.core.plan import Move, Option, Plan, Record
from coordinator.promela import ask_spin
from coordinator.promela.spin import STUCK
from coordinator.prove import Limits, explore
from coordinator.sequence import load
from tests.quality.test_seeded_defects import DEFECTS, TODAY, Defect
from tests.support.altered_files import copied
from tests.support.pair_plan import pair_plan
from tests.support.sequence_files import SEQUENCES

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


def _with_step(plan: Plan, name: str, lane: int, **changes: object) -> Plan:
    nodes = tuple(
        replace(one, **changes) if (one.name, one.lane) == (name, lane) else one  # type: ignore[arg-type]  # any field
        for one in plan.nodes
    )
    return replace(plan, nodes=nodes)


def _crossed(plan: Plan) -> Plan:
    """Return the plan with one side coming to two barriers the other way round."""
    meet, away = plan.barriers[0], plan.barriers[3]
    swapped = [list(meet.nodes), list(away.nodes)]
    swapped[0][1], swapped[1][1] = swapped[1][1], swapped[0][1]
    crossed = [
        replace(one, nodes=tuple(nodes), next_nodes=(-1,) * 3)
        for one, nodes in zip((meet, away), swapped, strict=True)
    ]
    plan = replace(plan, barriers=(crossed[0], *plan.barriers[1:3], crossed[1]))
    at = {node: number for number in (0, 3) for node in plan.barriers[number].nodes}
    nodes = (
        replace(one, barrier=at.get(index, one.barrier)) for index, one in enumerate(plan.nodes)
    )
    return replace(plan, nodes=tuple(nodes))


def _kept_zone(plan: Plan) -> Plan:
    """Return the plan with one side waiting at a barrier inside the zone that the other needs."""
    return _with_step(plan, "park", 0, move=Move("park", zone=0))


def _without_help(plan: Plan) -> Plan:
    """Return the plan with a question that has no answer by which it goes on."""
    options = tuple((one, "") for one in (Option.HOLD, Option.ABORT))
    return replace(plan, prompts=(replace(plan.prompts[0], options=options),))


def _back_beyond(plan: Plan) -> Plan:
    """Return the plan with a seat that is tried again from before the barrier in front of it."""
    seat = next(one for one in plan.nodes if one.name == "seat" and one.lane == 0)
    rules = tuple(replace(one, again_from=1) for one in seat.rules)
    return _with_step(plan, "seat", 0, rules=rules)


def _one_in_the_meeting(plan: Plan) -> Plan:
    """Return the plan with a barrier that forgets one of those who come to it."""
    away = plan.barriers[3]
    short = replace(
        away, lanes=away.lanes[:2], nodes=away.nodes[:2], next_nodes=away.next_nodes[:2]
    )
    return replace(plan, barriers=(*plan.barriers[:3], short))


def _rounds_apart(plan: Plan) -> Plan:
    """Return the plan with one side in its third round while the other is in its first."""
    plan = _with_step(plan, "pull", 0, record=Record(1, "pull", 1))
    return _with_step(plan, "pull", 1, record=Record(5, "pull", 3))


@pytest.mark.parametrize(
    ("spoil", "causes", "spin_says"),
    [
        (_crossed, 0, STUCK),
        (_kept_zone, 0, STUCK),
        (_without_help, 2, STUCK),
        (_back_beyond, 1, "together"),
        (_one_in_the_meeting, 0, "together"),
        (_rounds_apart, 0, "rounds_together"),
    ],
    ids=lambda one: getattr(one, "__name__", str(one)).strip("_"),
)
def test_a_plan_that_no_file_could_give_is_found_broken_by_both(
    spoil: Callable[[Plan], Plan], causes: int, spin_says: str
) -> None:
    """The rules would refuse most of these: both must find them without the rules."""
    plan = spoil(pair_plan())

    assert not explore(plan, Limits(causes)).is_proved
    assert ask_spin(plan, (), causes).broken == spin_says


def test_a_search_that_its_memory_cuts_is_no_proof() -> None:
    """A bound that was met is told, and never ends in good."""
    plan = load(SEQUENCES / "makeup_8.yaml").plan

    opinion = ask_spin(plan, (), 2, memory_mb=420)

    assert (opinion.is_complete, opinion.is_proved, opinion.broken) == (False, False, "")
