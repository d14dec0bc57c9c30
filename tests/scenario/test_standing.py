"""How everybody stands at the end of a counterexample, on the terminal and for scripts."""

from dataclasses import replace
from pathlib import Path

import pytest

from coordinator.cli.check.broken import broken_data, last_place, show_broken
from coordinator.cli.output import Output
from coordinator.core.plan import Plan
from coordinator.prove import Limits, Violation, explore
from coordinator.rehearse.standing import heading_of, standings_of
from coordinator.sequence import load
from tests.support.altered_files import copied
from tests.support.held_prompts import hold_alone
from tests.support.sequence_files import SEQUENCES
from tests.support.spoilt_plans import SPOILT

CHANGE_TOOLS = SEQUENCES / "change_tools.yaml"


def _violation(plan: Plan, name: str, causes: int = 0) -> Violation:
    found = explore(plan, Limits(causes))
    return next(one for one in found.violations if one.property == name)


def test_who_waits_for_a_zone_and_who_for_a_barrier_is_told() -> None:
    """A lane stands at the meeting inside the zone that the other needs to get there."""
    plan = SPOILT["kept_zone"][0]

    fore, aft, hoist, floor = standings_of(plan, _violation(plan, "no_deadlock"))

    assert (fore.step, fore.waits) == ("meet", ("aft at meet",))
    assert (aft.step, aft.waits) == ("pick", ("fore to leave zone bore",))
    assert (hoist.step, hoist.waits) == ("meet", ("aft at meet",))
    assert "nothing, and nobody is asked" in floor.waits[-1]


def test_a_way_that_is_lost_early_is_followed_to_where_it_stands_for_good() -> None:
    """PV4: the shortest way ends long before anything is to be seen of what is wrong."""
    plan = SPOILT["kept_zone"][0]
    broken = _violation(plan, "way_to_complete")

    stands = standings_of(plan, broken)

    assert len(broken.course) == 1
    assert broken.later > 0
    assert f"{broken.later} things later" in heading_of(broken)
    assert stands[1].waits == ("fore to leave zone bore",)


@pytest.fixture(scope="module")
def unanswerable() -> Plan:
    """Return a tool change whose question may be answered by a hold alone."""
    return hold_alone(load(CHANGE_TOOLS)).plan


def test_a_question_is_told_with_its_words_and_what_may_be_answered(unanswerable: Plan) -> None:
    """An author sees by it that no answer goes on."""
    broken = _violation(unanswerable, "way_to_complete", causes=2)

    asked = [
        words
        for one in standings_of(unanswerable, broken)
        for words in one.waits
        if "prompt" in words
    ]
    (question,) = (one for one in asked if "tool_stuck" in one and "answer to" in one)
    assert "'The tool changer did not confirm its lock." in question
    assert question.endswith("may be answered: hold")


def test_each_step_and_each_place_to_stand_has_file_line_and_column_for_scripts(
    unanswerable: Plan,
) -> None:
    """An editor jumps there."""
    broken = _violation(unanswerable, "way_to_complete", causes=2)

    told = broken_data(unanswerable, broken, CHANGE_TOOLS)

    lines = CHANGE_TOOLS.read_text(encoding="utf-8").splitlines()
    last = told["steps"][-1]
    assert last["words"].startswith("fails: ")
    assert (last["file"], last["is_cause"]) == (str(CHANGE_TOOLS), True)
    assert lines[last["line"] - 1][last["column"] - 1 :].startswith("do: change_tool")
    assert len(told["steps"]) == len(told["path"])
    assert told["end"]["stands"][0]["line"] == last["line"]
    assert unanswerable.nodes[last_place(unanswerable, broken)].origin.line == last["line"]


def test_where_the_end_cannot_be_told_nothing_is_claimed(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A guess about how it stands would send people the wrong way."""
    plan = SPOILT["kept_zone"][0]
    unknown = replace(_violation(plan, "no_deadlock"), end=None)

    show_broken(Output.of(False), plan, unknown)

    assert standings_of(plan, unknown) == ()
    assert broken_data(plan, unknown, Path("a.yaml"))["end"] is None
    assert "stands at the end" not in capsys.readouterr().out


def test_whoever_is_told_to_hold_is_not_said_to_stand(tmp_path: Path) -> None:
    """Between the order to hold and its answer an arm may still move."""
    path = copied(tmp_path) / "park.yaml"
    promise = (
        "properties: {near: {text: n, never: [{under_way: lift}, {signal: floor_clear, is: bad}]}}"
    )
    path.write_text(f"{path.read_text(encoding='utf-8')}\n{promise}\n", encoding="utf-8")
    loaded = load(path)
    (broken,) = explore(loaded.plan, Limits(1), properties=loaded.properties).violations

    fore, *_, floor = standings_of(loaded.plan, broken)

    assert (fore.step, fore.state) == ("lift", "at work, told to hold and not known to stand")
    assert floor.state.startswith("the procedure is holding: person_on_floor")
    assert {"floor_clear is bad", "person_on_floor is latched"} <= set(floor.waits)
