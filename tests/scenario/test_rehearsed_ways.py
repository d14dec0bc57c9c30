"""What is promised where people help: whether a rehearsal shows that it is broken."""

import sys
from typing import Any

import pytest

from coordinator.core.events import Act as Deed
from coordinator.core.plan import Option
from coordinator.core.prompts import BUILT_IN
from coordinator.prove.monitors import Happened, Violation
from coordinator.rehearse.counterexamples import tried
from coordinator.rehearse.mates import TIMES, helping, releases
from coordinator.rehearse.rehearsal import rehearse
from coordinator.sequence import Case, CaseCause, Loaded, load
from coordinator.sequence.cases.case import Act
from tests.support.sequence_files import SEQUENCES

SLOW = CaseCause("slow_arm", "fore", at_us=0, for_us=200_000_000, parameters=(("factor", 40.0),))
PAUSED = Act(Deed.PAUSE, "mate", at_us=1_000_000)
BROKEN = Violation("way_to_complete", "", (), 2, (Happened(0, "takes too long", 0),))


@pytest.fixture(scope="module")
def tools() -> Loaded:
    """Return a sequence of a few steps."""
    return load(SEQUENCES / "change_tools.yaml")


def test_a_run_that_people_bring_to_its_end_shows_no_way_missing(tools: Loaded) -> None:
    """It is held with nobody there; that says nothing about what people could do."""
    case = Case("slow", causes=(SLOW,), acts=(PAUSED,))

    assert rehearse(tools, case=case).phase != "complete"
    assert tried(tools, case, BROKEN) == (
        False,
        "the rehearsal of the case ended complete with people who help, so it does not show this",
    )


def test_a_run_that_stands_with_nobody_asked_shows_it(
    tools: Loaded, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing at work, nothing due, nobody asked: it would stand for ever."""
    decide = sys.modules["coordinator.core.decide"]
    monkeypatch.setattr(decide.procedure, "settle_end", lambda turn: None)

    result = rehearse(tools)
    is_shown, words = tried(tools, Case("none"), BROKEN)

    assert (result.stands, result.phase) == (True, "held")
    assert is_shown
    assert words.endswith("after nothing came any more and nobody was asked")


def test_an_arm_that_is_forgotten_over_a_pause_shows_it(
    tools: Loaded, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever waits for it at a barrier brings it to a hold; people help then, and it completes."""
    decide = sys.modules["coordinator.core.decide"]

    def forgets(turn: Any) -> None:
        each = turn.state.lanes
        busy = (one.command or (one.queue and not one.prompt) for one in each)
        if turn.state.phase == "pausing" and not any(busy):
            turn.proceed("pause_done")

    monkeypatch.setattr(decide.procedure, "settle_pause", forgets)

    is_shown, words = tried(tools, Case("slow", causes=(SLOW,), acts=(PAUSED,)), BROKEN)

    assert is_shown, words
    assert "only since something more went wrong: barrier done" in words


def test_people_who_help_release_points_and_answer_again_elsewhere() -> None:
    """What is not offered would be refused, and the run held."""
    plan = load(SEQUENCES / "replace_bolt.yaml").plan
    people = helping(plan)

    points = {one.prompt for one in releases(plan)}
    assert points
    said = {one.prompt: one.answer for one in people.answers}
    assert {name for name, answer in said.items() if answer == Option.RELEASE} == points
    assert len(people.answers) == TIMES * (len(plan.prompts) + len(BUILT_IN))
