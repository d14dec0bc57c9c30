"""What a signal is, from what a controller has answered and when."""

from collections.abc import Mapping
from typing import Any

import pytest

from coordinator.gateway.desk import Desk, Place, Reading
from coordinator.gateway.meaning import Word, truth
from coordinator.gateway.modbus import Run, runs_of
from coordinator.sequence.models.gateway_model import GatewayModel, GatewaySignalModel

EVERY_US = 200_000
TIMEOUT_US = 300_000
ALIVE_US = 1_000_000
CLEAR = Place("ns=2;s=Clear")
BEAT = Place("ns=2;s=Beat")
START_US = 1_000_000_000


def desk(**source: str) -> Desk:
    """Return a desk for one signal of one controller with everything at its default."""
    given = {"address": "opc.tcp://10.0.0.9", **source}
    signals = {"floor_clear": {"source": "deck", "at": CLEAR.at}}
    return Desk(GatewayModel.model_validate({"sources": {"deck": given}, "signals": signals}))


def clear(value: Word | None = True, **more: Any) -> Mapping[Place, Reading]:
    """Return an answer about the one signal."""
    return {CLEAR: Reading(value, **more)}


def told(of: Desk, at_us: int) -> bool | None:
    """Return what the one signal is at a time."""
    return of.signals(at_us)["floor_clear"].value


def test_a_signal_is_unknown_before_anything_was_heard() -> None:
    """A gateway that has just begun knows nothing, and must not guess."""
    told_now = desk().signals(START_US)["floor_clear"]

    assert (told_now.value, told_now.why) == (None, "deck: never heard")


def test_an_answer_counts_from_its_question_for_one_turn_and_no_longer() -> None:
    """GW2: the controller may have looked at the very moment it was asked."""
    one = desk()
    one.take("deck", clear(), START_US)
    last_us = START_US + EVERY_US + TIMEOUT_US

    assert [told(one, at) for at in (START_US, last_us, last_us + 1)] == [True, True, None]


def test_an_answer_from_the_future_is_unknown() -> None:
    """A clock that was set back must not make an old answer young."""
    one = desk()
    one.take("deck", clear(), START_US)

    assert told(one, START_US - 1) is None


def test_nothing_outlives_the_link_it_came_over() -> None:
    """GW2: what was good a moment ago says nothing about now."""
    one = desk()
    one.take("deck", clear(), START_US)
    one.lose("deck", "connection lost")

    found = one.signals(START_US)["floor_clear"]

    assert (found.value, found.why, found.found) == (None, "deck: connection lost", None)


@pytest.mark.parametrize("value", [True, False])
def test_a_reading_of_bad_quality_is_unknown_whatever_its_value(value: bool) -> None:
    """GW1: the controller itself does not vouch for it."""
    one = desk()
    one.take("deck", clear(value, wrong="its status is Bad"), START_US)

    assert told(one, START_US) is None


def test_a_place_that_is_not_answered_is_unknown() -> None:
    """GW1: an answer about other places is none about this one."""
    one = desk()
    one.take("deck", {}, START_US)

    assert told(one, START_US) is None


@pytest.mark.parametrize(
    ("stamped_us", "value"),
    [
        (START_US, True),
        (START_US - 2_000_000, True),
        (START_US - 2_000_001, None),
        (START_US + 2_000_000, True),
        (START_US + 2_000_001, None),
        (None, None),
    ],
)
def test_a_source_time_stamp_far_from_now_is_unknown(
    stamped_us: int | None, value: bool | None
) -> None:
    """Too old is stale; from the future means that the two clocks cannot be compared."""
    one = desk(stamp_max="2 s")
    one.take("deck", clear(stamped_us=stamped_us), START_US)

    assert told(one, START_US) is value


def test_a_beat_must_be_seen_to_change_before_anything_counts() -> None:
    """A stopped program's values look like those of a running one at first sight."""
    one = desk(alive=BEAT.at)
    seen = []
    for turn, beat in enumerate((7, 7, 8, 8)):
        one.take("deck", {**clear(), BEAT: Reading(beat)}, START_US + turn * EVERY_US)
        seen.append(told(one, START_US + turn * EVERY_US))

    assert seen == [None, None, True, True]


def test_a_beat_that_stands_still_makes_everything_unknown_until_it_goes_on() -> None:
    """GW1: A controller whose program has stopped goes on giving the last values."""
    one = desk(alive=BEAT.at)
    beats = (1, 2, *([2] * 6), 3)
    seen = []
    for turn, beat in enumerate(beats):
        at_us = START_US + turn * EVERY_US
        one.take("deck", {**clear(), BEAT: Reading(beat)}, at_us)
        seen.append(told(one, at_us))
    turns = ALIVE_US // EVERY_US

    assert seen == [None, *([True] * (turns + 1)), None, True]


@pytest.mark.parametrize(
    "beat", [Reading(None), Reading(9, wrong="its status is Bad"), Reading(float("nan"))]
)
def test_a_beat_that_is_not_good_must_begin_anew(beat: Reading) -> None:
    """One that cannot be read proves nothing, and neither does what it was before."""
    one = desk(alive=BEAT.at)
    for turn, found in enumerate((Reading(1), Reading(2), beat, Reading(3))):
        one.take("deck", {**clear(), BEAT: found}, START_US + turn * EVERY_US)

    assert told(one, START_US + 3 * EVERY_US) is None


def test_a_clock_that_is_set_back_keeps_no_beat_alive() -> None:
    """A beat that was seen in what is now the future may have stopped since."""
    one = desk(alive=BEAT.at)
    for turn, beat in enumerate((1, 2)):
        one.take("deck", {**clear(), BEAT: Reading(beat)}, START_US + turn * EVERY_US)
    back_us = START_US - 60_000_000
    one.take("deck", {**clear(), BEAT: Reading(2)}, back_us)

    assert told(one, back_us) is None


def test_a_beat_that_is_no_number_is_no_beat() -> None:
    """Not a number differs from itself, so it would seem to change for ever."""
    one = desk(alive=BEAT.at)
    for turn in range(4):
        one.take("deck", {**clear(), BEAT: Reading(float("nan"))}, START_US + turn * EVERY_US)

    assert told(one, START_US + 3 * EVERY_US) is None


@pytest.mark.parametrize(
    ("how", "value", "means"),
    [
        ({}, True, True),
        ({}, 0, False),
        ({}, 1, True),
        ({}, 2, None),
        ({}, 1.0, None),
        ({}, None, None),
        ({"inverted": True}, False, True),
        ({"inverted": True}, 1, False),
        ({"inverted": True}, None, None),
        ({"inverted": True}, 5, None),
        ({"bit": 4}, 0b10000, True),
        ({"bit": 4}, 0b01111, False),
        ({"bit": 15}, -1, True),
        ({"bit": 4, "inverted": True}, 0b10000, False),
        ({"bit": 4}, True, None),
        ({"bit": 4}, 16.0, None),
        ({"at_least": 180}, 180, True),
        ({"at_least": 180}, 179.99, False),
        ({"at_most": 5}, 5.0, True),
        ({"at_most": 5}, 5.01, False),
        ({"at_least": 4, "at_most": 20}, 3, False),
        ({"at_least": 180}, float("nan"), None),
        ({"at_least": 180}, float("inf"), None),
        ({"at_least": 0}, True, None),
    ],
)
def test_a_reading_says_yes_or_no_only_where_it_can_mean_nothing_else(
    how: dict[str, Any], value: Word | None, means: bool | None
) -> None:
    """What is neither, such as 2 where a bit should be, is unknown and never good."""
    signal = GatewaySignalModel.model_validate({"source": "deck", "at": "i=1", **how})

    assert truth(signal, value) is means


@pytest.mark.parametrize(
    ("wanted", "runs"),
    [
        ([("input", 3, 1)], [("input", 3, 1)]),
        ([("input", 4, 1), ("input", 3, 1)], [("input", 3, 2)]),
        ([("input", 3, 1), ("input", 5, 1)], [("input", 3, 1), ("input", 5, 1)]),
        ([("coil", 3, 1), ("input", 4, 1)], [("coil", 3, 1), ("input", 4, 1)]),
        ([("register", 3, 2), ("register", 4, 1), ("register", 5, 1)], [("register", 3, 3)]),
        (
            [*(("register", number, 1) for number in range(99)), ("register", 99, 2)],
            [("register", 0, 99), ("register", 99, 2)],
        ),
    ],
)
def test_requests_ask_for_what_is_wanted_alone_and_part_no_number(
    wanted: list[Run], runs: list[Run]
) -> None:
    """A place between may not exist; two halves of one number must be of one moment."""
    assert list(runs_of(wanted)) == runs
