"""The scripted operator: each entry once, in order, at its time."""

from dataclasses import dataclass

import pytest

from coordinator.core.decide import begin
from coordinator.core.events import Act, OperatorActed, PromptAnswered
from coordinator.core.plan import Option
from coordinator.core.state import (
    Lane,
    OpenPrompt,
    Party,
    Phase,
    SignalValue,
    State,
)
from coordinator.live.coordinator import Coordinator
from coordinator.live.operator import (
    ABSENT_US_MAX,
    PATIENCE_US,
    OperatedCoordinator,
    OperatorScript,
    StuckScript,
)
from coordinator.sequence.cases import case
from tests.support.obedient import ObedientParty, play
from tests.support.small_plan import small_plan

PLAN = small_plan()


@dataclass(frozen=True, slots=True)
class Reply:
    prompt: str
    answer: str
    by: str = "person"
    after_us: int = 0
    always: bool = False


@dataclass(frozen=True, slots=True)
class Deed:
    act: str
    when: str | None = None
    at_us: int | None = None
    after_us: int = 0
    by: str = "person"
    always: bool = False


def state(phase: str = "running", *numbers: int, prompt: int = 0) -> State:
    prompts = tuple(OpenPrompt(number, prompt, 0, 2, "torque_not_reached") for number in numbers)
    everybody = online()
    seen = tuple(SignalValue(True, 0) for _ in everybody.signals)
    return everybody._replace(phase=Phase(phase), prompts=prompts, signals=seen)


def online() -> State:
    idle = begin(PLAN)
    return idle._replace(lanes=tuple(Lane(party=Party(online=True)) for _ in idle.lanes))


def test_without_a_script_the_run_is_started_once_everybody_is_there() -> None:
    """A dry run needs nobody at the keys."""
    script = OperatorScript(PLAN)

    assert script.react(begin(PLAN), 0) == ()
    assert script.react(online(), 5) == (OperatorActed(0, Act.START, "script"),)
    assert script.react(online(), 5) == ()
    assert script.next_us() == 5 + PATIENCE_US
    assert script.react(state("running"), 6) == ()
    assert script.next_us() is None


def test_a_start_waits_until_everybody_has_been_there_for_a_while() -> None:
    """An arm that has just come has not heard the floor yet, and would hold by itself."""
    script = OperatorScript(PLAN, settle_us=1_000)

    assert script.react(online(), 5) == ()
    assert script.next_us() == 1_005
    assert script.react(begin(PLAN), 500) == ()  # Somebody has left again.
    assert script.react(online(), 600) == ()
    assert script.react(online(), 1_005) == ()
    assert script.react(online(), 1_600) == (OperatorActed(0, Act.START, "script"),)


def test_a_script_with_a_start_of_its_own_starts_only_by_that() -> None:
    """The author of a case decides when it begins."""
    script = OperatorScript(PLAN, acts=[Deed("start", at_us=900)])

    assert script.react(online(), 5) == ()
    assert script.next_us() == 900
    assert script.react(online(), 900) == (OperatorActed(0, Act.START, "person"),)
    assert script.react(online(), 5_000_000) == ()


def test_answers_are_used_once_and_in_order() -> None:
    """LV4: the second prompt of a name gets the second answer, the third gets none."""
    script = OperatorScript(
        PLAN, [Reply("torque_trouble", "again"), Reply("torque_trouble", "abort")]
    )

    assert script.react(state("running", 1), 10) == (PromptAnswered(0, 1, "again", "person"),)
    assert script.react(state("running", 1), 11) == ()
    assert script.react(state("running", 2), 20) == (PromptAnswered(0, 2, "abort", "person"),)
    assert script.react(state("running", 3), 30) == ()


def test_an_answer_that_says_always_answers_each_prompt_once() -> None:
    """A campaign must not end because its script ran out of words."""
    script = OperatorScript(PLAN, [Reply("torque_trouble", "again", always=True)])

    assert script.react(state("running", 1), 10) == (PromptAnswered(0, 1, "again", "person"),)
    assert script.react(state("running", 1), 11) == ()
    assert script.react(state("running", 2), 20) == (PromptAnswered(0, 2, "again", "person"),)


def test_an_answer_waits_from_when_the_prompt_was_seen() -> None:
    """People need time to look."""
    script = OperatorScript(PLAN, [Reply("torque_trouble", "again", after_us=500)])

    assert script.react(state("running", 1), 100) == ()
    assert script.next_us() == 600
    assert script.react(state("running", 1), 599) == ()
    assert script.react(state("running", 1), 600) == (PromptAnswered(0, 1, "again", "person"),)


def test_the_built_in_question_has_a_name_to_answer_by() -> None:
    """An unknown outcome never moves without a person, also a scripted one."""
    script = OperatorScript(PLAN, [Reply("unknown_outcome", "again")])

    assert script.react(state("running", 1, prompt=-1), 0) == (
        PromptAnswered(0, 1, "again", "person"),
    )


def test_acts_for_one_state_are_used_one_after_the_other() -> None:
    """Reset, look, restart: the second counts its time from the first."""
    script = OperatorScript(
        PLAN, acts=[Deed("reset", "held", after_us=100), Deed("restart", "held", after_us=200)]
    )

    assert script.react(state("held"), 1_000) == ()
    assert script.react(state("held"), 1_100) == (OperatorActed(0, Act.RESET, "person"),)
    assert script.react(state("held"), 1_100) == ()
    assert script.next_us() == 1_300
    assert script.react(state("held"), 1_300) == (OperatorActed(0, Act.RESTART, "person"),)


def test_nobody_restarts_while_a_party_is_still_missing() -> None:
    """After a crash the parties come back one by one; a restart before that is only refused."""
    script = OperatorScript(PLAN, acts=[Deed("restart", "held")])
    held = state("held")
    missing = held._replace(lanes=(Lane(), *held.lanes[1:]))

    assert script.react(missing, 0) == ()
    assert script.next_us() == PATIENCE_US
    assert script.react(held, PATIENCE_US) == (OperatorActed(0, Act.RESTART, "person"),)


def test_who_never_comes_is_named_by_the_restart_that_is_refused() -> None:
    """A script that waits for ever would tell nobody who is missing."""
    script = OperatorScript(PLAN, acts=[Deed("restart", "held")])
    held = state("held")
    missing = held._replace(lanes=(Lane(), *held.lanes[1:]))

    assert script.react(missing, 0) == ()
    assert script.react(missing, ABSENT_US_MAX) == (OperatorActed(0, Act.RESTART, "person"),)


def test_an_act_that_says_always_comes_again_but_never_at_once() -> None:
    """A person who presses restart again and again still takes a breath."""
    script = OperatorScript(PLAN, acts=[Deed("restart", "held", always=True)])

    assert script.react(state("held"), 0) == (OperatorActed(0, Act.RESTART, "person"),)
    assert script.react(state("held"), 0) == ()
    assert script.next_us() == PATIENCE_US
    assert script.react(state("held"), PATIENCE_US) == (OperatorActed(0, Act.RESTART, "person"),)


def test_a_scripted_answer_brings_a_faulted_run_to_its_end() -> None:
    """The prompt, the answer and the second pull together end well."""
    coordinator = Coordinator(PLAN)
    script = OperatorScript(PLAN, [Reply("torque_trouble", "again", after_us=2_000_000)])
    fore = ObedientParty("fore", faults={"pull": 1})

    play(
        [OperatedCoordinator(coordinator, script), fore, ObedientParty("aft")],
        until_us=30_000_000,
    )

    assert coordinator.state.phase == "complete"
    assert coordinator.state.prompt == 1


def test_a_run_that_nobody_answers_does_not_go_on() -> None:
    """P1: no answer is no answer."""
    coordinator = Coordinator(PLAN)
    fore = ObedientParty("fore", faults={"pull": 1})

    play(
        [OperatedCoordinator(coordinator, OperatorScript(PLAN)), fore, ObedientParty("aft")],
        until_us=10_000_000,
    )

    assert [prompt.number for prompt in coordinator.state.prompts] == [1]


def test_a_script_that_acts_without_end_is_told() -> None:
    """A circle at one moment would stop virtual time."""
    script = OperatorScript(PLAN, acts=[Deed("reset", at_us=0) for _ in range(200)])
    operated = OperatedCoordinator(Coordinator(PLAN), script)

    with pytest.raises(StuckScript, match="more than 100 times"):
        operated.react(0)


def test_the_people_of_a_case_file_can_be_played() -> None:
    """Cases are written elsewhere; a script must take them as they are."""
    people = case.People(
        (case.Answer("torque_trouble", Option.AGAIN, "hand"),),
        (case.Act(Act.HOLD, "hand", when="running", after_us=10),),
    )
    script = OperatorScript(PLAN, people.answers, people.acts)

    assert script.react(state("running", 1), 0) == (PromptAnswered(0, 1, "again", "hand"),)
    assert script.react(state("running"), 10) == (OperatorActed(0, Act.HOLD, "hand"),)
