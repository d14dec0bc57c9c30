"""P9: the age of a call is counted as people live, however fast the cell does."""

import pytest

from coordinator.core.events import Act, OperatorActed
from coordinator.live.person_calls import PersonCalls

S = 1_000_000
HOLD = OperatorActed(0, Act.HOLD, "Ada")


@pytest.mark.parametrize(("speed", "expires_s"), [(1.0, 9), (50.0, 107), (0.5, 9)])
def test_a_press_counts_two_seconds_of_the_person_who_pressed(speed: float, expires_s: int) -> None:
    """At fifty times life two seconds of the run are gone before the page has even heard them."""
    calls = PersonCalls("page", lambda: 10 * S, speed)

    made = calls.make(HOLD, lambda _: None, pressed_us=7 * S)

    assert made.expires_us == expires_s * S


def test_what_was_pressed_ahead_of_the_run_was_pressed_now() -> None:
    """A console that counts too fast must not make its calls live longer."""
    calls = PersonCalls("page", lambda: 10 * S)

    assert calls.make(HOLD, lambda _: None, pressed_us=99 * S).expires_us == 12 * S


def test_two_calls_of_a_console_have_two_names_and_a_name_that_is_given_is_kept() -> None:
    """The same name is the same call: it is done once."""
    calls = PersonCalls("page", lambda: 10 * S)
    names = [calls.make(HOLD, lambda _: None, call=one).call for one in ("", "", "x-1", "x-1")]

    assert len(set(names)) == 3
    assert names[2:] == ["page-x-1", "page-x-1"]
