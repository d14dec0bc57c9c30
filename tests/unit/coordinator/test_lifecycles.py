"""The compiled tables say what the declared machines do."""

import pytest
from transitions import Machine, MachineError

from coordinator.lifecycles import (
    ALARM,
    ARM,
    BARRIER,
    PROCEDURE,
    PROMPT,
    STEP,
    Lifecycle,
    LifecycleError,
)

EVERY = pytest.mark.parametrize(
    "lifecycle", [PROCEDURE, STEP, BARRIER, PROMPT, ALARM, ARM], ids=lambda one: one.name
)


class _Model:
    """What a live machine moves; it gains `state` and one method for each trigger."""

    state: str


def _live_machine(lifecycle: Lifecycle) -> tuple[Machine, _Model]:
    model = _Model()
    machine = Machine(
        model, states=list(lifecycle.states), initial=lifecycle.initial, auto_transitions=False
    )
    for trigger, source, destination in lifecycle.rows:
        machine.add_transition(trigger, source, destination)
    return machine, model


@EVERY
def test_every_state_and_trigger_does_what_the_live_machine_does(lifecycle: Lifecycle) -> None:
    """D5: the table that runs must be the machine that is drawn."""
    machine, model = _live_machine(lifecycle)
    for state in lifecycle.states:
        for trigger in sorted({trigger for trigger, _, _ in lifecycle.rows}):
            machine.set_state(state, model)
            try:
                getattr(model, trigger)()
            except MachineError:
                assert not lifecycle.may(state, trigger)
                with pytest.raises(LifecycleError):
                    lifecycle.after(state, trigger)
            else:
                assert lifecycle.may(state, trigger)
                assert lifecycle.after(state, trigger) == model.state


@EVERY
def test_every_state_can_be_come_to(lifecycle: Lifecycle) -> None:
    """A state that nothing leads to is a mistake in the declaration."""
    known = [lifecycle.initial]
    for state in known:
        known += [
            destination
            for _, source, destination in lifecycle.rows
            if source == state and destination not in known
        ]
    assert sorted(set(known)) == sorted(lifecycle.states)


def test_two_destinations_for_one_trigger_are_refused() -> None:
    """A table of one destination must not hide a second one."""
    rows = (("go", "here", "there"), ("go", "here", "elsewhere"))
    with pytest.raises(LifecycleError, match="two destinations"):
        Lifecycle.declare("forked", ("here", "there", "elsewhere"), rows)
