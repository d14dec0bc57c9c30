"""The oracles of what people are told: each tells true words from the same words told wrongly."""

import pytest

from coordinator.core.effects import Notify, RaisePrompt, WithdrawPrompt
from coordinator.core.events import Act, OperatorActed, PromptAnswered, TimePassed
from coordinator.core.state import OpenPrompt, Phase, State
from coordinator.wire.messages import Accepted, Do, Interrupted
from tests.support.campaigns import Court, running

ASKED = RaisePrompt(7, 0, 0, 0, "no_seat", ("again",))
TAKEN = Notify("note", "answered", "mate answers again")
LATE = Notify("warning", "answer_late", "answer 'again' by mate: prompt 7 is not open")
REFUSED = Notify("warning", "answer_unknown", "answer 'again' by fitter: for the fitter")


def at_work() -> Court:
    """Return a court before which one arm goes to its parking position."""
    court = running()
    court.pass_on("fore", Do(1, "park", "park", {}))
    court.pass_on("fore", Accepted(1))
    return court


def answer(court: Court, told: Notify, *, is_open: bool) -> None:
    """Let a person answer prompt 7, be told something of it, and the prompt be open after it."""
    opened = (OpenPrompt(7, 0, 0, 0, "no_seat"),) if is_open else ()
    state = State(Phase.RUNNING, (), (), (), (), prompts=opened)
    court.judge.decided(PromptAnswered(court.now_us, 7, "again", "mate"), (told,), state)


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("paused", "nothing moves; resume goes on"),
        ("stopped", "every party stands: stopped"),
        ("reset", "mate has reset person_on_floor; nothing moves before a restart"),
    ],
)
def test_rest_that_is_told_while_an_arm_is_at_work_is_found(kind: str, words: str) -> None:
    """TD1: whoever reads that nothing moves steps over the line."""
    court = at_work()
    told = Notify("note", kind, words)

    court.decide(TimePassed(court.now_us), told, phase="running")

    assert court.broken == ["TD1"]


def test_rest_that_is_told_once_every_arm_has_ended_its_work_is_right() -> None:
    """TD1, on a run that keeps it: the oracle does not cry over true words."""
    court = at_work()
    court.pass_on("fore", Interrupted(1))

    court.decide(
        TimePassed(court.now_us), Notify("note", "paused", "nothing moves"), phase="running"
    )

    assert court.broken == []


@pytest.mark.parametrize("is_clear", [True, False, None])
def test_a_trip_is_told_as_reset_only_while_its_signal_is_good(is_clear: bool | None) -> None:
    """TD2: a trip said to be reset while a person stands inside invites a restart."""
    court = Court()
    gate = next(one for one in court.ground.gates if one.signal == "floor_clear" and one.is_trip)
    court.signals(floor_clear=is_clear)
    told = Notify("note", "reset", f"mate has reset {gate.name}; nothing moves before a restart")

    court.decide(OperatorActed(court.now_us, Act.RESET, "mate"), told, phase="held")

    assert court.broken == ([] if is_clear else ["TD2"])


@pytest.mark.parametrize(
    ("told", "is_withdrawn", "stays_open", "broken"),
    [
        (TAKEN, False, False, []),
        (TAKEN, False, True, ["TD3"]),
        (TAKEN, True, False, ["TD3"]),
        (LATE, True, False, []),
        (LATE, False, True, ["TD3"]),
        (REFUSED, False, True, []),
        (REFUSED, False, False, ["TD3"]),
    ],
)
def test_an_answer_is_told_as_what_became_of_it(
    told: Notify, is_withdrawn: bool, stays_open: bool, broken: list[str]
) -> None:
    """TD3: whoever reads that an answer was taken goes away, and answers again if it was not."""
    court = Court()
    court.decide(TimePassed(0), ASKED, phase="running")
    if is_withdrawn:
        court.decide(TimePassed(0), WithdrawPrompt(7, "held"), phase="running")

    answer(court, told, is_open=stays_open)

    assert court.broken == broken
