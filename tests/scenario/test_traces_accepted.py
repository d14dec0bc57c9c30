"""Trace validation: whatever a run in virtual time goes through, the proof has walked through it.

The runs come from the simulated arms with their physics and their network, the walk from what
stands for them; both meet in nothing but the core.
"""

from functools import lru_cache

import pytest

from coordinator.core.events import Act as Deed
from coordinator.core.plan import Option
from coordinator.core.state import State
from coordinator.rehearse.rehearsal import rehearse
from coordinator.sequence import Case, CaseCause, load
from coordinator.sequence.cases.case import Act, Answer
from tests.support.accepting import Acceptor
from tests.support.sequence_files import SEQUENCES

SHIPPED = ("park", "change_tools", "breakout_6", "makeup_6")
S_US = 1_000_000
CAUSES = {
    "party_cut": CaseCause("party_cut", "fore", at_us=6 * S_US, for_us=15 * S_US),
    "person_steps_in": CaseCause("person_steps_in", at_us=6 * S_US, for_us=15 * S_US),
    "party_restarts": CaseCause("party_restarts", "aft", at_us=7 * S_US),
    "slow_arm": CaseCause("slow_arm", "fore", at_us=S_US, for_us=60 * S_US),
    "tool_lock_fails": CaseCause("tool_lock_fails", "fore"),
    "coupling_open": CaseCause("coupling_open", "aft"),
    "string_moves": CaseCause("string_moves", at_us=9 * S_US, for_us=5 * S_US),
}
MANY_S = tuple(range(3, 40, 4))
"""Moments at which somebody steps in."""


@lru_cache(maxsize=2)
def walk(name: str, causes: int) -> Acceptor:
    """Return the whole walk through a shipped sequence."""
    return Acceptor(load(SEQUENCES / f"{name}.yaml").plan, causes)


def run(name: str, seed: int, cause: CaseCause | None = None) -> list[State]:
    """Return the states that a run goes through; people answer, reset and restart."""
    loaded = load(SEQUENCES / f"{name}.yaml")
    prompts = [*(prompt.name for prompt in loaded.plan.prompts), "unknown_outcome"]
    acts = (
        Act(Deed.RESET, "mate", when="held", after_us=60 * S_US),
        Act(Deed.RESTART, "mate", when="held", after_us=65 * S_US),
    )
    case = Case(
        "run",
        causes=() if cause is None else (cause,),
        answers=tuple(Answer(one, Option.AGAIN, "mate") for one in prompts for _ in range(3)),
        acts=acts * 3,
    )
    states: list[State] = []
    rehearse(loaded, seed=seed, case=case, listeners=(lambda _, __, state: states.append(state),))
    return states


@pytest.mark.parametrize("name", SHIPPED)
def test_a_run_in_which_nothing_goes_wrong_is_accepted_step_by_step(name: str) -> None:
    """PV15: not one state may be passed over where nobody is held, and none costs a cause."""
    states = run(name, seed=2)

    verdict = walk(name, 0).judge(states)

    assert verdict.refused is None
    assert (verdict.passed_over, states[-1].phase) == (0, "complete")
    assert verdict.accepted >= 10


@pytest.mark.parametrize("cause", CAUSES.values(), ids=list(CAUSES))
@pytest.mark.parametrize("seed", [1, 2])
def test_a_run_in_which_one_thing_goes_wrong_is_accepted(cause: CaseCause, seed: int) -> None:
    """What physics, network and people make of one cause is among what may happen by one."""
    verdict = walk("change_tools", 1).judge(run("change_tools", seed, cause))

    assert verdict.refused is None
    assert verdict.accepted > 10


@pytest.mark.parametrize("at_s", MANY_S)
def test_a_hold_at_any_moment_is_accepted(at_s: int) -> None:
    """PV14: A hold catches each lane where it happens to be."""
    cause = CaseCause("person_steps_in", at_us=at_s * S_US, for_us=10 * S_US)

    verdict = walk("change_tools", 1).judge(run("change_tools", 1, cause))

    assert verdict.refused is None


@pytest.mark.parametrize("lane", [0, 1])
def test_a_run_that_skips_a_step_is_refused(lane: int) -> None:
    """An acceptor that takes anything would validate nothing."""
    states = run("change_tools", 1)
    done = [state.lanes[lane].done for state in states]
    skipped = sorted(set(done))[2]

    verdict = walk("change_tools", 0).judge(
        state for state in states if state.lanes[lane].done != skipped
    )

    assert verdict.refused is not None


@pytest.mark.parametrize("name", ["party_cut", "person_steps_in", "party_restarts", "string_moves"])
def test_a_run_with_a_fault_is_refused_by_a_walk_without_causes(name: str) -> None:
    """PV15: what the walk did not look at must not pass for looked at."""
    states = run("change_tools", 1, CAUSES[name])

    assert walk("change_tools", 0).judge(states).refused is not None
