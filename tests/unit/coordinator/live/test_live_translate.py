"""Wire to core and core to wire, one body at a time."""

import math

import pytest

from coordinator.core.effects import (
    Effect,
    Notify,
    SendAsk,
    SendDisarm,
    SendDo,
    SendHold,
    SendLease,
    SendMakeReady,
    SendRelease,
)
from coordinator.core.events import (
    CommandAccepted,
    CommandArmed,
    CommandFaulted,
    CommandFinished,
    CommandInterrupted,
    CommandProgressed,
    CommandRefused,
    CommandStarted,
    Event,
    PartyHeld,
    PartyLost,
    PartyReady,
    PartySeen,
    SignalSeen,
)
from coordinator.core.plan import Move
from coordinator.live.translate import (
    LocalProtocolError,
    Outgoing,
    Translation,
    numeric_results,
    to_events,
    to_outgoing,
)
from coordinator.wire.messages import (
    Accepted,
    Armed,
    Ask,
    Body,
    Disarm,
    Do,
    Faulted,
    Finished,
    FloorSignals,
    Held,
    Hold,
    Interrupted,
    Lease,
    MakeReady,
    Message,
    PartyState,
    Progressed,
    Ready,
    Refused,
    Release,
    SimulatedFacts,
    Started,
    Value,
)
from tests.support.small_plan import small_plan

PLAN = small_plan(with_signal=True)
ORIGIN_US = 1_000_000


def translated(body: Body, *, source: str = "aft", subject: str | None = None) -> Translation:
    message = Message(source, subject or source, 1, 1, 0, body)
    return to_events(PLAN, message, ORIGIN_US + 70, ORIGIN_US)


@pytest.mark.parametrize(
    ("body", "event"),
    [
        (Accepted(4), CommandAccepted(70, 1, 4)),
        (Refused(4, "unready", "busy"), CommandRefused(70, 1, 4, "unready", "busy")),
        (Armed(4), CommandArmed(70, 1, 4)),
        (Started(4, ORIGIN_US + 60), CommandStarted(70, 1, 4, 60)),
        (Progressed(4), CommandProgressed(70, 1, 4, None)),
        (Progressed(4, torque_nm=812.6), CommandProgressed(70, 1, 4, 813)),
        (Faulted(4, "leak"), CommandFaulted(70, 1, 4, "leak")),
        (Interrupted(4), CommandInterrupted(70, 1, 4)),
        (Held("lease lapsed", 3), PartyHeld(70, 1, 3, "lease lapsed")),
        (Ready(3), PartyReady(70, 1, 3)),
        (PartyState(True, boot=9, running=4), PartySeen(70, 1, 9, 4)),
        (PartyState(False), PartyLost(70, 1)),
    ],
)
def test_a_report_becomes_the_event_of_its_party(body: Body, event: Event) -> None:
    """WR2: every report has one event, timed from the run's beginning."""
    assert translated(body) == Translation((event,))


def test_only_finite_numbers_are_results_sorted_by_name() -> None:
    """The core compares results with windows; truth values and words are no measurement."""
    results: dict[str, Value] = {"turns": 3, "ok": True, "angle_rad": 0.5, "word": "x"}
    results |= {"bad": math.inf, "huge": 10**400}

    assert numeric_results(results) == (("angle_rad", 0.5), ("turns", 3.0))
    assert translated(Finished(4, results)).events == (
        CommandFinished(70, 1, 4, (("angle_rad", 0.5), ("turns", 3.0))),
    )


def test_floor_signals_become_one_event_each_and_unknown_ones_are_told() -> None:
    """A signal that no interlock knows decides nothing, and hides nothing."""
    body = FloorSignals({"nobody_inside": None, "moon_is_full": True})

    assert translated(body, source="floor") == Translation(
        (SignalSeen(70, 0, None),), ("unknown signal 'moon_is_full'",)
    )


def test_a_lost_floor_leaves_every_signal_unknown() -> None:
    """Nobody watches any more; waiting until the values are too old would waste that knowledge."""
    assert translated(PartyState(False), source="floor").events == (SignalSeen(70, 0, None),)


@pytest.mark.parametrize("body", [Accepted(1), PartyState(True)])
def test_a_stranger_becomes_no_event_and_is_told(body: Body) -> None:
    """LV3: whoever is not in the plan decides nothing."""
    assert translated(body, source="port") == Translation((), ("unknown party 'port'",))


@pytest.mark.parametrize("body", [Finished(1), PartyState(True), FloorSignals({"x": True})])
def test_what_is_said_in_the_name_of_another_is_not_believed(body: Body) -> None:
    """One arm must not finish the other's work, nor say that it lives, nor clear the floor."""
    outcome = translated(body, source="fore", subject="aft")

    assert outcome == Translation((), ("'fore' speaks in the name of 'aft'",))


def test_signals_count_from_the_floor_alone() -> None:
    """WR5: an arm that says on its own topic that nobody is inside decides nothing."""
    outcome = translated(FloorSignals({"nobody_inside": True}), source="aft", subject="aft")

    assert outcome == Translation((), ("'aft' is not the floor, yet tells signals",))


@pytest.mark.parametrize("body", [Hold("x"), Lease(5), Ask(1), MakeReady()])
def test_a_command_from_somebody_else_is_no_event(body: Body) -> None:
    """Only the coordinator commands."""
    outcome = translated(body, source="fore")

    assert outcome.events == ()
    assert len(outcome.dropped) == 1


def test_facts_of_the_simulated_steel_never_reach_the_core() -> None:
    """What only a simulator knows must decide nothing that a real cell could not."""
    assert translated(SimulatedFacts({"gap_m": 0.1}), source="floor") == Translation()


def test_a_do_carries_step_parameters_barrier_and_expiry() -> None:
    """Everything an arm needs stands in the one message."""
    move = Move("pull", (("target", 1000.0),), on_hold="relieve")
    effect = SendDo(1, 9, 4, move, expires_us=500, barrier=0, barrier_epoch=2)

    assert to_outgoing(PLAN, effect, ORIGIN_US) == Outgoing(
        "aft", Do(9, "pull_5", "pull", {"target": 1000.0}, "meet/2", "relieve"), ORIGIN_US + 500
    )


def test_standing_by_at_a_barrier_names_no_step() -> None:
    """Node -1 must not be read as the last step of the plan."""
    effect = SendDo(0, 9, -1, Move("stand_by"), expires_us=500, barrier=0, barrier_epoch=1)

    outgoing = to_outgoing(PLAN, effect, 0)

    assert outgoing is not None
    assert outgoing.body == Do(9, "stand_by", "stand_by", {}, "meet/1")


def test_every_other_effect_becomes_its_message() -> None:
    """Times go back to the cell's clock, the lease to everybody."""
    effects: list[Effect] = [
        SendRelease(0, 9, 300, 400),
        SendDisarm(0, 9, "silence", 400),
        SendHold(0, 9, "held", 400),
        SendMakeReady(0, 9, 400),
        SendAsk(0, 9, 400),
        SendLease(400),
        Notify("note", "start", "start by a person"),
    ]

    found = [to_outgoing(PLAN, effect, ORIGIN_US) for effect in effects]

    end_us = ORIGIN_US + 400
    assert found == [
        Outgoing("fore", Release(9, ORIGIN_US + 300), end_us),
        Outgoing("fore", Disarm(9, "silence"), end_us),
        Outgoing("fore", Hold("held", 9), end_us),
        Outgoing("fore", MakeReady(9), end_us),
        Outgoing("fore", Ask(9), end_us),
        Outgoing("all", Lease(end_us), end_us),
        None,
    ]


def test_a_move_with_an_unknown_hold_behaviour_is_never_sent() -> None:
    """An arm would refuse it; that it is our mistake must be said here."""
    effect = SendDo(0, 9, 0, Move("park", on_hold="jump"), expires_us=1)

    with pytest.raises(LocalProtocolError, match="LNK007"):
        to_outgoing(PLAN, effect, 0)
