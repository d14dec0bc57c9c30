"""Alarms and the stories of holds: what people are told beside what the core decides."""

from coordinator.core.effects import Notify
from coordinator.core.events import Act, OperatorActed, TimePassed
from coordinator.core.state import (
    Lane,
    Party,
    Phase,
    SignalValue,
    State,
)
from coordinator.live.alarms import Alarms, alarm_words
from coordinator.live.hold_stories import HoldStories
from tests.support.pair_plan import pair_plan

MINUTE_US = 60_000_000


def state_of(
    good: bool, *, tripped: bool = False, first_out: int = -1, phase: str = "running"
) -> State:
    """Return a state in which the trip's signal is good or not."""
    lanes = tuple(Lane(party=Party(online=True, boot=1)) for _ in range(3))
    signals = (SignalValue(True, 1), SignalValue(good, 1))
    return State(Phase(phase), lanes, (), signals, (False, tripped), first_out)


def stands(alarms: Alarms) -> list[tuple[str, str]]:
    return [(one.name, one.state) for one in alarms.standing()]


def test_an_alarm_that_went_away_unseen_stays_to_be_acknowledged() -> None:
    """AL2: whoever comes back from the rail must learn of it."""
    alarms = Alarms(pair_plan())
    alarms(TimePassed(1), (), state_of(False))
    assert stands(alarms) == [("nobody_inside", "unacknowledged")]
    alarms(TimePassed(2), (), state_of(True))
    assert stands(alarms) == [("nobody_inside", "returned_unacknowledged")]
    assert alarms.acknowledge("nobody_inside", "Ada") == ""
    assert stands(alarms) == []
    assert alarms.acknowledge("nobody_inside", "Ada") != ""


def test_an_acknowledged_alarm_is_over_once_its_cause_is() -> None:
    """It was seen: nothing is left to be said."""
    alarms = Alarms(pair_plan())
    alarms(TimePassed(1), (), state_of(False, tripped=True, first_out=1))
    assert alarms.standing()[0].is_first
    assert "somebody is inside the line" in alarm_words(alarms.standing()[0])
    alarms.acknowledge("nobody_inside", "Ada")
    assert stands(alarms) == [("nobody_inside", "acknowledged")]
    alarms(TimePassed(2), (), state_of(True))
    assert stands(alarms) == []


def test_a_shelved_alarm_comes_back_by_itself() -> None:
    """AL1: who, why and an expiry; a shift at most."""
    alarms = Alarms(pair_plan())
    alarms(TimePassed(1), (), state_of(False))
    shelve = alarms.shelve
    assert shelve("nobody_inside", "Ada", "", MINUTE_US, 1) == "say who and why"
    assert shelve("nobody_inside", "Ada", "known", 9 * 60 * MINUTE_US, 1) == "must end within 8 h"
    assert shelve("nobody_inside", "Ada", "known", MINUTE_US, 1) == ""
    assert stands(alarms) == [("nobody_inside", "shelved")]
    alarms(TimePassed(MINUTE_US - 1), (), state_of(False))
    assert stands(alarms) == [("nobody_inside", "shelved")]
    alarms(TimePassed(MINUTE_US), (), state_of(False))
    assert stands(alarms) == [("nobody_inside", "unacknowledged")]


def test_a_hold_is_told_with_the_seconds_before_it_and_what_followed_beneath() -> None:
    """ST1: first-out: what came second is often only what the first one led to."""
    stories = HoldStories(pair_plan())

    def note(at_us: int, kind: str, text: str, phase: str = "running") -> None:
        stories(TimePassed(at_us), (Notify("warning", kind, text),), state_of(True, phase=phase))

    note(1_000_000, "signal_old", "long before")
    note(19_000_000, "signal_old", "nobody is old")
    note(20_000_000, "first_out", "nobody_inside: somebody is inside the line", "holding")
    note(20_500_000, "party_lost", "aft is silent", "holding")
    note(21_000_000, "held", "every party stands: held", "held")
    stories(OperatorActed(30_000_000, Act.RESTART, "Ada"), (), state_of(True))
    note(40_000_000, "hold", "held by Ada", "holding")

    first, second = stories.told
    assert first.lines() == [
        "HOLD at 20.0 s: nobody_inside: somebody is inside the line",
        "    -1.00 s nobody is old",
        "        +0.50 s aft is silent",
        "        +1.00 s every party stands: held",
    ]
    assert second.lines() == ["HOLD at 40.0 s: held by Ada"]
