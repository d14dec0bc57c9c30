"""What the coordinator notices of lost messages, and what it does about them."""

from coordinator.core.events import Event, MessagesMissed
from coordinator.live.coordinator import Coordinator, Observers
from coordinator.live.gap_watch import PATIENCE_US, TELL_US, GapWatch
from coordinator.wire.messages import AskState, FloorSignals, Message, PartyState, Progressed
from tests.support.small_plan import small_plan


def beat(ordinal: int, at_us: int, missed: int = 0, boot: int = 7) -> Message:
    state = PartyState(True, boot=boot, missed=missed)
    return Message("aft", "aft", ordinal, 1, at_us, state, ordinal=ordinal)


def test_gaps_are_told_not_more_often_than_a_heartbeat() -> None:
    """WR8: a broker that sheds half of a hundred signs a second must not drown the journal."""
    watch = GapWatch(small_plan())
    told: list[MessagesMissed] = []
    for number in range(1, 400, 2):
        at_us = number * 10_000
        body = Progressed(1)
        message = Message("aft", "aft", number, 1, at_us, body, ordinal=number)
        told += watch.take(message, at_us)

    found = 199 - PATIENCE_US // 20_000
    assert sum(one.missed for one in told) in range(found - 50, found + 1)
    assert 0 < len(told) <= 400 * 10_000 // TELL_US + 1
    assert watch.counts["aft", False][0] == found


def test_what_waits_to_be_told_is_told_with_a_later_heartbeat_that_nothing_is_missing_of() -> None:
    """The last gap of a burst must not stay untold because the bus is good again."""
    watch = GapWatch(small_plan())
    words = [(1, 0), (3, 10), (5, 20), (6, PATIENCE_US + 10), (7, PATIENCE_US + 20)]
    told = [[one.missed for one in watch.take(beat(n, at_us), at_us)] for n, at_us in words]
    late_us = PATIENCE_US + TELL_US + 10
    later = watch.take(beat(8, late_us), late_us)

    assert told == [[], [], [], [1], []]
    assert [one.missed for one in later] == [1]


def test_a_report_that_overtakes_telemetry_is_told_to_nobody() -> None:
    """Found by a run with nothing wrong: an alarm without a cause is soon looked at by nobody."""
    watch = GapWatch(small_plan())
    order = [(1, 0), (3, 20), (2, 10), (4, 2 * PATIENCE_US), (5, 4 * PATIENCE_US)]

    assert [watch.take(beat(n, at_us), at_us) for n, at_us in order] == [()] * 5
    assert watch.counts == {}


def test_what_a_party_says_that_it_missed_is_told_once_and_starts_anew_with_its_boot() -> None:
    """The number it gives only grows within one start of it; a coordinator may come late."""
    watch = GapWatch(small_plan())
    step_us = 2 * TELL_US
    words = [(1, 4, 7), (2, 4, 7), (3, 6, 7), (4, 6, 7), (5, 1, 8)]
    told = [
        [(one.missed, one.by_party) for one in watch.take(beat(n, n * step_us, *of), n * step_us)]
        for n, *of in words
    ]

    assert told == [[], [], [(2, True)], [], [(1, True)]]


def test_the_floors_gap_is_told_and_strangers_are_not_counted() -> None:
    """Signals come whole each time; a stranger is nobody whose words could be missed."""
    watch = GapWatch(small_plan())

    def hear(source: str, ordinal: int, at_us: int = 1) -> tuple[MessagesMissed, ...]:
        at_us = max(at_us, ordinal)
        message = Message(source, source, ordinal, 1, at_us, FloorSignals({}), ordinal=ordinal)
        return watch.take(message, at_us)

    assert hear("floor", 1) == hear("stranger", 1) == hear("stranger", 9) == ()
    assert hear("floor", 4) == ()
    assert hear("floor", 5, PATIENCE_US + 4) == (MessagesMissed(PATIENCE_US + 4, -1, 2),)
    assert ("stranger", False) not in watch.counts


def test_a_gap_is_journalled_and_the_party_asked_how_it_stands() -> None:
    """Issue: gap, then snapshot again; the journal has it, and nobody holds."""
    events: list[Event] = []
    observers = Observers(listeners=(lambda event, effects, state: events.append(event),))
    coordinator = Coordinator(small_plan(), observers=observers)
    coordinator.receive(beat(1, 0), 10)

    quiet = coordinator.receive(beat(2, 10), 20)
    quiet += coordinator.receive(beat(4, 30), 40)
    late_us = PATIENCE_US + 40
    asked = coordinator.receive(beat(5, late_us - 10), late_us)

    assert quiet == []
    assert [(one.subject, one.body) for one in asked] == [("aft", AskState())]
    aft = [one.name for one in small_plan().parties].index("aft")
    gaps = [one for one in events if isinstance(one, MessagesMissed)]
    assert gaps == [MessagesMissed(late_us, aft, 1)]
    assert coordinator.state.phase == "idle"


def test_the_brokers_memory_is_no_gap() -> None:
    """WR9: what was kept may be as old as it likes."""
    coordinator = Coordinator(small_plan())
    coordinator.receive(beat(5, 0), 10)

    assert coordinator.receive(beat(2, 0), 20, retained=True) == []
    assert coordinator.receive(beat(9, 20), 25, retained=True) == []
    assert coordinator.receive(beat(6, 30), 30) == []
    assert coordinator.receive(beat(7, 2 * PATIENCE_US), 2 * PATIENCE_US) == []
