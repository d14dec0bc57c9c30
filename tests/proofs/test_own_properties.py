"""Properties of an author's own: what they find, and that what is left out hides nothing of it."""

from dataclasses import replace
from pathlib import Path

import pytest

from coordinator.core.effects import SendDo
from coordinator.core.plan import Signal
from coordinator.core.state import Phase
from coordinator.prove import Limits, explore
from coordinator.prove.own import Own
from coordinator.sequence import load
from coordinator.sequence.compiler.own_properties import (
    Happening,
    HappeningKind,
    OwnProperty,
    PropertyKind,
)
from tests.support.altered_files import copied
from tests.support.core_stories import reach
from tests.support.own_properties import PROMISED, Promised
from tests.support.pair_plan import pair_plan
from tests.support.sequence_files import SEQUENCES, codes_of, write_sequence

SMALL = """
lanes:
  fore:
    - do: change_tool
      with: {tool: gripper}
    - do: park
  aft:
    - do: change_tool
      with: {tool: gripper}
properties:
  promised:
    text: so it is promised
"""
ORDERED = """
properties:
  aft_first:
    text: fore takes the wrench once aft has it
    always_before:
      first: {ends: change_tool, with: {tool: wrench}, lane: aft}
      then: {begins: change_tool, with: {tool: wrench}, lane: fore}
"""


def _name(one: Promised) -> str:
    return one.own.name


@pytest.mark.parametrize("promised", PROMISED, ids=_name)
def test_a_property_is_broken_exactly_where_it_does_not_hold(promised: Promised) -> None:
    """PV15, PV20: what holds, and with how many causes, was thought out by hand."""
    found = explore(pair_plan(), Limits(promised.causes), properties=(promised.own,))

    broken = [one.property for one in found.violations]
    assert found.is_complete
    assert broken == ([] if promised.holds else [f"properties.{promised.own.name}"])


def test_a_walk_that_leaves_nothing_out_breaks_the_same_properties() -> None:
    """PV18: soundness: neither folding nor putting steps off hides a moment that is spoken of."""
    properties = tuple(one.own for one in PROMISED)

    whole = explore(pair_plan(), Limits(0, is_modular=False, is_cut=False), properties=properties)
    folded = explore(pair_plan(), Limits(0), properties=properties)

    assert whole.violations
    assert {one.property for one in folded.violations} == {one.property for one in whole.violations}
    assert folded.states < whole.states


def test_a_signal_that_no_interlock_watches_turns_bad_for_a_property_of_it() -> None:
    """PV19: else what its author wants proved would hold for want of anything going wrong."""
    plan = replace(pair_plan(), signals=(*pair_plan().signals, Signal("calm", 1_000_000)))
    calm = Happening(HappeningKind.SIGNAL, signal=2, is_good=False)
    seats = Happening(HappeningKind.UNDER_WAY, action="seat")
    own = OwnProperty("seats_calm", "so it is promised", PropertyKind.NEVER, (seats, calm))

    none, one = (explore(plan, Limits(causes), properties=(own,)) for causes in (0, 1))

    assert [one.property for one in none.violations] == []
    assert [one.property for one in one.violations] == ["properties.seats_calm"]


def test_without_properties_nothing_is_walked_in_addition() -> None:
    """Whoever promises nothing of his own pays nothing for it."""
    plain = explore(pair_plan(), Limits(0))

    assert explore(pair_plan(), Limits(0), properties=()).states == plain.states


def test_a_counterexample_of_an_own_property_is_the_shortest_way_to_it() -> None:
    """Who takes the place of the first pull needs to be seen without detours."""
    own = next(one.own for one in PROMISED if one.own.name == "no_lift")

    found = explore(pair_plan(), Limits(0), properties=(own,))

    (broken,) = found.violations
    assert broken.text == "it is so: fore begins lift and aft begins lift"
    told = [(by.lane, by.words, by.step) for by in broken.broken_by]
    assert told == [(0, "begins lift", "lift"), (1, "begins lift", "lift")]
    assert sum("starts: " in line for line in broken.path) == 4, broken.path


def test_with_causes_too_a_counterexample_is_as_short_as_that_of_the_whole_walk() -> None:
    """A pause that holds one arm back is no part of a way on which that arm is slow anyway."""
    properties = tuple(one.own for one in PROMISED)

    whole = explore(pair_plan(), Limits(1, is_modular=False, is_cut=False), properties=properties)
    found = explore(pair_plan(), Limits(1), properties=properties)

    shortest = {one.property: len(one.path) for one in whole.violations}
    assert shortest
    assert {one.property: len(one.path) for one in found.violations} == shortest


def test_a_pause_that_nothing_hangs_on_is_left_out_with_its_end(tmp_path: Path) -> None:
    """Neither can be left out alone: who is paused does nothing, and who runs does not resume."""
    text = (SEQUENCES / "change_tools.yaml").read_text(encoding="utf-8") + ORDERED
    path = copied(tmp_path) / "change_tools.yaml"
    path.write_text(text, encoding="utf-8")
    loaded = load(path)

    lengths = [
        [
            (one.causes, len(one.path))
            for one in explore(loaded.plan, Limits(causes), properties=loaded.properties).violations
        ]
        for causes in (0, 1)
    ]

    assert lengths == [[(0, 11)], [(0, 11)]]


@pytest.mark.parametrize(
    ("said", "codes"),
    [
        ("never: [{begins: park, lane: fore}]", []),
        ("never: [{begins: park, lane: aft}]", ["SEQ073"]),
        ("never: [{begins: parc}]", ["SEQ014"]),
        ("never: [{ends: change_tool, with: {tool: spinner}}]", ["SEQ073"]),
        ("never: [{ends: change_tool, with: {tol: spinner}}]", ["SEQ015"]),
        ("never: [{begins: park, lane: fort}]", ["SEQ022"]),
        ("never: [{signal: floor_clean, is: bad}]", ["SEQ028"]),
        ("never: [{signal: floor_clear, is: off}]", ["SEQ009"]),
        ("never: [{signal: floor_clear}]", ["SEQ007"]),
        ("never: [{zone: bor}]", ["SEQ029"]),
        ("never: [{zone: bore}]", ["SEQ073"]),
        ("never: []", ["SEQ009"]),
        ("never: [{starts: park}]", ["SEQ007"]),
        ("always_before: {first: {ends: park}}", ["SEQ007"]),
        ("at_most: {times: 0, of: {begins: park}}", ["SEQ009"]),
        ("at_most: {times: 2, of: {begins: park}, never: 3}", ["SEQ006"]),
        ("mostly: 3", ["SEQ006"]),
        ("three: 3", ["SEQ007"]),
    ],
)
def test_a_property_that_cannot_be_meant_is_told(
    said: str, codes: list[str], tmp_path: Path
) -> None:
    """SQ22: A property that is misread would promise something else, or nothing."""
    path = write_sequence(tmp_path, f"{SMALL}    {said}\n")

    assert codes_of(path) == codes


def test_a_property_in_a_file_is_proved_with_its_sequence(tmp_path: Path) -> None:
    """From the file to the verdict: a value of the joint serves as a parameter."""
    body = SMALL.replace("gripper", "spinner") + (
        "    always_before:\n"
        "      first: {ends: change_tool, lane: fore, with: {tool: spinner}}\n"
        "      then: {begins: park}\n"
    )
    loaded = load(write_sequence(tmp_path, body))

    found = explore(loaded.plan, Limits(1), properties=loaded.properties)

    assert len(loaded.properties) == 1
    assert found.is_proved


def test_a_property_is_broken_while_the_procedure_runs_and_never_on_its_way_to_an_end() -> None:
    """PV20: what a person stops need not be what its author wanted of the whole."""
    plan = pair_plan()
    never = next(one.own for one in PROMISED if one.own.name == "no_lift")
    own = Own(plan, (never,))
    running = reach("seat").state
    node = next(index for index, one in enumerate(plan.nodes) if one.name.startswith("lift"))
    move = plan.nodes[node].move
    assert move is not None
    lifts = (SendDo(plan.nodes[node].lane, 9, node, move, 0),)

    broken = {
        phase: [
            name for name, _ in own.follow((0,), running, running._replace(phase=phase), lifts)[1]
        ]
        for phase in (Phase.RUNNING, Phase.STOPPING, Phase.ABORTED)
    }

    assert broken == {"running": ["properties.no_lift"], "stopping": [], "aborted": []}
