"""The situations of a lane: which there are, and that none is taken for another."""

from enum import StrEnum
from itertools import combinations
from typing import get_args

import pytest

from coordinator.core.plan import Move
from coordinator.core.state import (
    Asked,
    Command,
    Commanded,
    Doing,
    Lane,
    MeetingPhase,
    Pending,
    Phase,
    Recovering,
    Situation,
    State,
    StepPhase,
    Stopped,
)
from coordinator.core.turn import InvariantViolation, Turn
from coordinator.lifecycles import BARRIER, PROCEDURE, STEP, Lifecycle, LifecycleError
from tests.support.pair_plan import pair_plan

COMMAND = Command(7, Doing.STEP)
MOVES = (Move("lift"),)
SITUATIONS: dict[type, tuple[Situation, ...]] = {
    Pending: (Pending(), Pending(fault="leak")),
    Commanded: tuple(
        Commanded(phase, COMMAND, "leak")
        for phase in (StepPhase.SENT, StepPhase.ARMING, StepPhase.ARMED, StepPhase.RUNNING)
    ),
    Recovering: (
        Recovering(StepPhase.RECOVERING),
        Recovering(StepPhase.RECOVERING, "leak", (), MOVES),
    ),
    Stopped: (
        Stopped(StepPhase.FAULTED, "leak", (), MOVES),
        Stopped(StepPhase.INTERRUPTED, "leak", (), MOVES),
    ),
    Asked: (Asked(StepPhase.PROMPTED, 0), Asked(StepPhase.PROMPTED, 1, "leak", (), MOVES)),
}


def test_no_two_situations_share_a_phase_and_each_phase_but_one_has_its_situation() -> None:
    """Named tuples with equal contents are equal whatever their type: the phase keeps them apart.

    A lane passes through the end of a step within one turn, so nothing stands for that.
    """
    phases = [list(get_args(one.__annotations__["phase"])) for one in get_args(Situation)]

    assert [one._fields[0] for one in get_args(Situation)] == ["phase"] * 5
    assert sorted(one for own in phases for one in own) == sorted(
        phase for phase in StepPhase if phase is not StepPhase.DONE
    )


def test_no_two_situations_are_equal_or_hash_alike() -> None:
    """A proof that took one for another would leave out all that follows from it."""
    every = [one for own in SITUATIONS.values() for one in own]

    assert set(SITUATIONS) == set(get_args(Situation))
    for one, other in combinations(every, 2):
        assert one != other
        assert hash(one) != hash(other)


@pytest.mark.parametrize(
    ("words", "lifecycle"), [(Phase, PROCEDURE), (StepPhase, STEP), (MeetingPhase, BARRIER)]
)
def test_phases_are_the_states_that_the_lifecycles_declare(
    words: type[StrEnum], lifecycle: Lifecycle
) -> None:
    """They are declared once, with `transitions`; the members are the core's words for them."""
    assert tuple(one.value for one in words) == lifecycle.states


def turn_with(lane: Lane) -> Turn:
    return Turn(pair_plan(), State(Phase.RUNNING, (lane,), (), (), ()), 0)


def test_a_situation_that_no_trigger_leads_to_is_refused() -> None:
    """D5: whoever builds the situation by hand still moves along a declared transition."""
    turn = turn_with(Lane())

    with pytest.raises(InvariantViolation, match="D5"):
        turn.step(0, Commanded(StepPhase.RUNNING, COMMAND), "send")
    with pytest.raises(InvariantViolation, match="D5"):
        turn.put_at(0, Stopped(StepPhase.FAULTED))
    with pytest.raises(LifecycleError):
        turn.step(0, Commanded(StepPhase.RUNNING, COMMAND), "release")
    assert turn.state.lanes == (Lane(),)
