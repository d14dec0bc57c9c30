"""The floor: its signals on time and on change, causes, the hoist's lane, and orders by hand."""

from collections.abc import Sequence

import pytest

from coordinator.wire.messages import (
    Accepted,
    Do,
    Finished,
    FloorSignals,
    Held,
    Interrupted,
    Lease,
    MakeReady,
    Message,
)
from sim_arms.causes import Cause
from sim_arms.floor import Floor
from sim_arms.orders import obey_order
from sim_arms.steel import Steel
from sim_arms.workbench import Settings
from tests.support.parties import SECOND_US
from tests.support.steel import small_joint

GOOD: dict[str, bool | None] = {
    "floor_clear": True,
    "string_still": True,
    "nothing_overhead": True,
    "hydraulics_ready": True,
}


def floor_with(causes: Sequence[Cause] = (), watched: tuple[str, ...] = ()) -> Floor:
    """A floor around the small joint."""
    settings = Settings("hoist", watched=watched)
    return Floor.on(settings, Steel(small_joint(), 1), causes, 1, signals=GOOD)


def run_on(floor: Floor, until_us: int) -> list[Message]:
    """Let time pass."""
    messages: list[Message] = []
    while (due_us := floor.next_us()) is not None and due_us <= until_us:
        messages += floor.advance(due_us)
    return messages


def signals_of(messages: list[Message], name: str) -> list[tuple[int, bool | None]]:
    """Times and values of one signal."""
    return [
        (message.sent_us, message.body.signals[name])
        for message in messages
        if isinstance(message.body, FloorSignals)
    ]


def say(floor: Floor, body: Do | Lease | MakeReady, now_us: int = 0) -> list[Message]:
    """Deliver one body to the hoist."""
    return floor.receive(Message("coordinator", "hoist", 1, 1, now_us, body, now_us + 1), now_us)


def test_signals_are_repeated_at_their_period() -> None:
    """F1: whoever watches must be able to tell silence."""
    times = [at_us for at_us, _ in signals_of(run_on(floor_with(), 3 * SECOND_US), "floor_clear")]

    assert times == [0, 500_000, 1_000_000, 1_500_000, 2_000_000, 2_500_000, 3_000_000]


@pytest.mark.parametrize(
    ("cause", "name", "value"),
    [
        ("person_steps_in", "floor_clear", False),
        ("scanner_silent", "floor_clear", None),
        ("string_moves", "string_still", False),
        ("load_overhead_stays", "nothing_overhead", False),
    ],
)
def test_a_cause_shows_at_its_own_instant_and_is_over_at_its_end(
    cause: str, name: str, value: bool | None
) -> None:
    """F1: at once, not at the next period."""
    floor = floor_with([Cause(cause, at_us=1_234_567, for_us=600_000)])

    seen = signals_of(run_on(floor, 3 * SECOND_US), name)

    bad = [at_us for at_us, heard in seen if heard is value]
    assert bad == [1_234_567, 1_734_567]
    assert (1_834_567, True) in seen


def test_a_silenced_floor_publishes_nothing_until_the_silence_is_over() -> None:
    """F2."""
    floor = floor_with([Cause("signal_silent", at_us=1_100_000, for_us=2 * SECOND_US)])

    times = [at_us for at_us, _ in signals_of(run_on(floor, 4 * SECOND_US), "floor_clear")]

    assert [at_us for at_us in times if 1_100_000 <= at_us < 3_100_000] == []
    assert 3_100_000 in times


def test_the_hoist_moves_the_string_and_the_floor_says_so_while_it_does() -> None:
    """F4: The string counts as moving from before it moves until after it rests."""
    floor = floor_with()
    say(floor, Lease(30 * SECOND_US))
    say(floor, MakeReady())

    heard = say(floor, Do(1, "s", "bring_length"), SECOND_US)
    heard += run_on(floor, 25 * SECOND_US)

    assert heard[0].subject == "hoist"
    assert [m.body for m in heard if isinstance(m.body, Accepted | Finished)] == [
        Accepted(1),
        Finished(1),
    ]
    still = signals_of(heard, "string_still")
    ended_us = next(m.sent_us for m in heard if isinstance(m.body, Finished))
    assert still[0] == (SECOND_US, False)
    assert {value for at_us, value in still if at_us < ended_us} == {False}
    assert (ended_us, True) in still


def test_the_hoist_holds_when_a_signal_that_it_watches_is_lost() -> None:
    """L5: the hoist hears the floor that it lives on."""
    floor = floor_with([Cause("person_steps_in", at_us=5 * SECOND_US)], ("floor_clear",))
    run_on(floor, 0)
    say(floor, Lease(30 * SECOND_US))
    say(floor, MakeReady())
    say(floor, Do(1, "s", "bring_length"))

    heard = run_on(floor, 6 * SECOND_US)

    kinds = [type(m.body) for m in heard if isinstance(m.body, Interrupted | Held)]
    assert kinds == [Interrupted, Held]
    assert signals_of(heard, "string_still")[-1][1] is True


def test_an_order_by_hand_is_published_at_once_and_a_wrong_one_is_explained() -> None:
    """A person says what the signals are when there is no scanner."""
    floor = floor_with()
    run_on(floor, 0)

    messages, answer = obey_order(floor, "floor_clear unknown\n", 7)
    assert signals_of(messages, "floor_clear") == [(7, None)]
    assert answer == "floor_clear is now unknown"
    assert obey_order(floor, "floor_clear maybe", 8)[0] == []
    assert "not understood: 'floor_clear maybe'" in obey_order(floor, "floor_clear maybe", 8)[1]
    assert "floor_clear, string_still" in obey_order(floor, "help", 9)[1]
    assert obey_order(floor, "\n", 9) == ([], "")


def test_a_hoist_that_moves_is_not_still_whatever_the_hand_says() -> None:
    """Good only if both say so."""
    floor = floor_with()
    say(floor, Lease(30 * SECOND_US))
    say(floor, MakeReady())
    say(floor, Do(1, "s", "bring_length"))

    messages, _ = obey_order(floor, "string_still yes", SECOND_US)

    assert {value for _, value in signals_of(messages, "string_still")} <= {False}


def test_a_reborn_floor_goes_on_with_its_signals_and_its_causes() -> None:
    """Contacts and scanners outlive a process."""
    floor = floor_with([Cause("person_steps_in", at_us=3 * SECOND_US)])
    floor.set_signal("hydraulics_ready", False, 0)

    born = floor.reborn(2 * SECOND_US)
    heard = born.connected(2 * SECOND_US) + run_on(born, 4 * SECOND_US)

    assert {value for _, value in signals_of(heard, "hydraulics_ready")} == {False}
    assert signals_of(heard, "floor_clear")[0] == (2 * SECOND_US, True)
    assert (3 * SECOND_US, False) in signals_of(heard, "floor_clear")
