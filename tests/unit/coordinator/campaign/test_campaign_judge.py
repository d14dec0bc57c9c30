"""The oracles: each finds what it looks for, and says nothing where all is well."""

import pytest

from coordinator.core.effects import RaisePrompt, WriteRecord
from coordinator.core.events import Act, OperatorActed, TimePassed
from coordinator.wire.messages import (
    Accepted,
    Armed,
    Do,
    Faulted,
    Finished,
    Held,
    Hold,
    Interrupted,
    Lease,
    PartyState,
    Ready,
    Refused,
    Release,
    SimulatedFacts,
    Started,
)
from tests.support.campaigns import PULL, TORQUE_NM, Court, armed_pair, running

PULLED = "pulled (round 1, pair 1)/1"


def released_pair(court: Court) -> None:
    armed_pair(court)
    for number, party in ((1, "fore"), (2, "aft")):
        court.pass_on(party, Release(number, court.now_us + 200_000))


def started_pair(court: Court, *, apart_us: int = 1_000, is_heard: bool = True) -> None:
    released_pair(court)
    start_us = court.now_us + 200_000
    court.pass_on("fore", Started(1, start_us), start_us)
    (court.pass_on if is_heard else court.say)(
        "aft", Started(2, start_us + apart_us), start_us + apart_us
    )


def pull_and_confirm(court: Court) -> None:
    """Let both sides end the pull well and confirm it."""
    for number, party in ((1, "fore"), (2, "aft")):
        court.pass_on(party, Finished(number, {"torque_nm": TORQUE_NM}))
    for number, party, bolt in ((3, "fore", 1), (4, "aft", 5)):
        step = f"confirm torque bolt {bolt} round 1"
        court.pass_on(party, Do(number, step, "confirm_torque", {"bolt": bolt}))
        court.pass_on(party, Accepted(number))
        court.pass_on(party, Finished(number))


def close_span(court: Court) -> None:
    for number, party, bolt in ((5, "fore", 1), (6, "aft", 5)):
        step = f"lift wrench bolt {bolt} round 1"
        court.pass_on(party, Do(number, step, "lift_wrench", {"bolt": bolt}, PULLED))
        court.pass_on(party, Armed(number))
    for number, party in ((5, "fore"), (6, "aft")):
        court.pass_on(party, Release(number, court.now_us + 200_000))


def test_a_pair_that_pulls_as_it_must_breaks_nothing() -> None:
    """An oracle that cries at good work would be switched off."""
    court = running()

    started_pair(court)
    pull_and_confirm(court)
    close_span(court)
    court.later(60_000_000)

    assert court.broken == []


def test_a_release_before_everybody_has_armed_breaks_the_barrier() -> None:
    """Nobody passes alone."""
    court = running()
    court.pass_on("fore", Do(1, "pull bolt 1 round 1", "pull", {}, PULL))
    court.pass_on("fore", Armed(1))

    court.say("fore", Release(1, 200_000))
    court.later(1)

    assert court.broken == ["B1", "B2"]


def test_a_release_with_another_start_breaks_the_barrier() -> None:
    """One start time for all."""
    court = running()
    armed_pair(court)

    court.say("fore", Release(1, 200_000))
    court.say("aft", Release(2, 240_000))
    court.later(1)

    assert "B2" in court.broken


def test_a_start_before_its_time_is_found() -> None:
    """The party's own measurement is what counts."""
    court = running()
    released_pair(court)

    court.say("fore", Started(1, 100_000), 100_000)

    assert court.broken == ["B3"]


@pytest.mark.parametrize("why", ["fault", "window", "apart", "unheard", "left_out"])
def test_a_span_that_closes_over_a_broken_half_is_found(why: str) -> None:
    """One fate for both: what one has not done, neither has."""
    court = running()
    apart_us = 80_000 if why == "apart" else 0
    started_pair(court, apart_us=apart_us, is_heard=why != "unheard")
    if why == "fault":
        court.pass_on("aft", Faulted(2, "leak"))
    elif why == "window":
        court.pass_on("aft", Finished(2, {"torque_nm": 100.0}))
    if why != "left_out":
        pull_and_confirm(court)

    close_span(court)

    assert "S1" in court.broken


def test_an_end_that_the_partner_never_began_is_found() -> None:
    """A pull alone tilts the flange."""
    court = running()
    released_pair(court)
    court.pass_on("fore", Started(1, 200_000), 200_000)

    court.say("fore", Finished(1, {"torque_nm": TORQUE_NM}), 9_000_000)

    assert court.broken == ["S2"]


def test_a_partner_that_works_on_long_after_a_fault_is_found() -> None:
    """The other side stops within its stated time."""
    court = running()
    started_pair(court)
    court.pass_on("fore", Faulted(1, "leak"))

    court.later(court.now_us + 30_000_000)

    assert court.broken == ["S3"]


@pytest.mark.parametrize("value", [False, None])
def test_motion_while_the_floor_is_not_known_to_be_clear_is_found(value: bool | None) -> None:
    """Unknown counts as active."""
    court = running()
    court.signals(floor_clear=value)

    court.say("fore", Do(1, "park", "park"))

    assert court.broken[:2] == ["I1", "I2"]


def test_motion_on_an_old_signal_is_found_and_standing_by_is_not_motion() -> None:
    """Silence is no news at all."""
    court = running()

    court.say("hoist", Do(1, "stand_by", "stand_by", {}, PULL), 2_000_000)
    assert court.broken == []
    court.say("fore", Do(2, "park", "park"), 2_000_000)

    assert set(court.broken) == {"I1"}


def test_an_exception_named_in_the_file_lets_its_step_move() -> None:
    """The author's reason stands in the file; a trip knows no exception."""
    court = running()
    court.signals(nothing_overhead=False)

    court.say("fore", Do(1, "take cover", "take_cover"))

    assert court.broken == []


def test_motion_without_a_persons_restart_is_found() -> None:
    """What was held moves only after a person's word."""
    court = running()
    court.decide(TimePassed(0), phase="holding")
    court.say("fore", Do(1, "park", "park"))
    assert court.broken == ["I3"]

    court.decide(OperatorActed(5, Act.RESTART, "mate"), phase="restarting")
    for party in ("fore", "aft", "hoist"):
        court.pass_on(party, Ready(2))
    court.say("aft", Do(3, "park", "park"))

    assert court.broken == ["I3"]


def test_a_restart_by_itself_is_found() -> None:
    """Clearing moves nothing."""
    court = running()
    court.decide(TimePassed(0), phase="held")

    court.decide(TimePassed(5), phase="restarting")

    assert court.broken == ["I3"]


def test_a_restart_over_a_trip_that_was_not_reset_is_found() -> None:
    """Whoever restarts must have looked at what tripped."""
    court = running()
    court.signals(floor_clear=False)
    court.decide(TimePassed(1), phase="held")

    court.decide(OperatorActed(2, Act.RESTART, "mate"), phase="restarting")

    assert court.broken == ["I6"]


def test_a_trip_after_which_nothing_is_held_is_found() -> None:
    """Moving arms are told to hold."""
    court = running()
    court.signals(floor_clear=False)

    court.later(20_000_000)

    assert court.broken == ["I4"]


def test_held_shown_or_said_over_work_is_found() -> None:
    """Held means that everybody stands."""
    court = running()
    court.pass_on("fore", Do(1, "park", "park"))
    court.pass_on("fore", Accepted(1))
    court.pass_on("fore", PartyState(True, 1, "running", running=1))

    court.decide(TimePassed(0), phase="held")
    court.say("fore", Held("for no reason"))

    assert court.broken == ["H1", "H2"]


def test_a_party_that_is_not_told_to_hold_is_found() -> None:
    """Everybody holds, not only whom it concerns."""
    court = running()
    court.decide(TimePassed(0), phase="holding")
    for party in ("fore", "hoist"):
        court.say(party, Hold("somebody came"))

    court.later(1)

    assert court.broken == ["H4"]


def test_a_party_that_wakes_up_ready_is_found() -> None:
    """A process that has died knows nothing."""
    court = running()
    court.say("fore", PartyState(True, 1, "idle"))

    court.say("fore", PartyState(True, 2, "idle"))

    assert court.broken == ["H3"]


def test_numbers_that_do_not_grow_and_needless_repeats_are_found() -> None:
    """A number is given out once, and sent again only if it never arrived."""
    court = running()
    court.pass_on("fore", Do(2, "park", "park"))
    court.say("fore", Do(1, "park", "park"))
    court.say("fore", Do(2, "park", "park"))
    assert court.broken == ["A1", "A2"]

    court.pass_on("aft", Do(3, "park", "park"))
    court.pass_on("aft", Refused(3, "expired"))
    court.say("aft", Do(3, "park", "park"))

    assert court.broken == ["A1", "A2"]


def test_an_expired_command_that_is_obeyed_and_one_done_twice_are_found() -> None:
    """The arm is asked to check for itself."""
    court = running()
    court.signals(at_us=4_000_000)
    late = court.say("fore", Do(1, "park", "park"), 4_000_000)
    court.arrive(late, 7_000_000)
    court.signals(at_us=7_000_000)
    court.say("fore", Accepted(1), 7_000_000)
    assert court.broken == ["A3"]

    court.say("fore", Finished(1), 8_000_000)
    court.say("fore", PartyState(True, 1, "running", running=1), 9_000_000)

    assert court.broken == ["A3", "A4"]


def test_work_without_a_lease_and_leases_too_long_are_found() -> None:
    """Silence must end in rest."""
    court = running()
    court.judge.board.lease_us["fore"] = 1_000_000
    court.signals(at_us=2_000_000)
    court.say("fore", Do(1, "park", "park"), 2_000_000)

    court.say("fore", Accepted(1), 2_000_000)
    court.say("fore", PartyState(True, 1, "running", running=1), 9_000_000)
    court.say("all", Lease(20_000_000), 10_000_000)

    assert court.broken == ["L1", "L2", "L3"]


def test_an_arm_that_begins_against_a_trip_of_its_own_is_found() -> None:
    """The coordinator is not trusted to be right."""
    court = running()
    court.pass_on("fore", Do(1, "park", "park"))
    court.signals(floor_clear=False)

    court.say("fore", Accepted(1))

    assert court.broken == ["L4"]


@pytest.mark.parametrize(("fault", "code"), [("torque_not_reached", "R1"), ("leak", "R2")])
def test_a_try_beyond_its_bound_is_found(fault: str, code: str) -> None:
    """Two tries for the one, one and a person for the other."""
    court = running()
    step = "pull bolt 1 round 1"
    for number in (1, 2, 3):
        court.pass_on("fore", Do(number, step, "pull", {"bolt": 1, "torque": TORQUE_NM}))
        court.pass_on("fore", Accepted(number))
        court.pass_on("fore", Faulted(number, fault))

    assert set(court.broken) == {code}


def test_motion_after_an_unknown_end_or_an_open_question_is_found() -> None:
    """Where nobody knows, a person decides."""
    court = running()
    court.pass_on("fore", Do(1, "park", "park"))
    court.pass_on("fore", Accepted(1))
    court.pass_on("fore", Interrupted(1, {"process_died": True}))
    court.say("fore", Do(2, "park", "park"))
    assert court.broken == ["R3"]

    asked = RaisePrompt(1, 0, 1, 0, "leak", ("again",))
    court.decide(TimePassed(0), asked, phase="running")
    court.say("aft", Do(3, "park", "park"))

    assert court.broken == ["R3", "P1"]


def test_two_in_one_zone_are_found_and_who_has_left_it_is_not() -> None:
    """An arm that stands inside is inside."""
    court = running()
    court.pass_on("fore", Do(1, "fit cover", "fit_cover"))
    court.pass_on("fore", Accepted(1))
    court.pass_on("fore", Finished(1))
    court.pass_on("aft", Do(2, "fit cover", "fit_cover"))
    court.pass_on("aft", Accepted(2))
    assert court.broken == ["Z1"]

    court.pass_on("fore", Do(3, "park", "park"))
    court.pass_on("fore", Accepted(3))
    court.pass_on("fore", Finished(3))
    court.pass_on("aft", Do(4, "fit cover", "fit_cover"))
    court.pass_on("aft", Accepted(4))

    assert court.broken == ["Z1"]


def test_too_much_torque_a_round_too_early_and_bolts_not_opposite_are_found() -> None:
    """The joint closes evenly or not at all."""
    court = running()
    court.say("fore", Do(1, "pull bolt 1 round 1", "pull", {"bolt": 1, "torque": 9_000.0}))
    assert court.broken == ["T1", "T2"]

    court.say("fore", Do(2, "pull bolt 1 round 3", "pull", {"bolt": 1, "torque": 3_000.0}))
    assert court.broken == ["T1", "T2", "T2"]

    other = running()
    armed_pair(other, bolts=(1, 4))
    other.pass_on("fore", Release(1, 200_000))

    assert "T3" in other.broken


@pytest.mark.parametrize(("fault", "broken"), [("torque_off", []), ("", ["T5"])])
def test_a_result_outside_its_window_recorded_as_done_is_found(
    fault: str, broken: list[str]
) -> None:
    """A bolt that was pulled to too little is not pulled."""
    court = running()
    node = [one.name for one in court.ground.plan.nodes].index("pull bolt 1 round 1")
    results = (("torque_nm", 100.0),)

    proof = WriteRecord(0, 1, node, 1, "finished", fault, results)
    court.decide(TimePassed(1), proof, phase="running")

    assert court.broken == broken


def test_a_string_that_moves_over_an_arm_is_found() -> None:
    """Arms are parked while a load moves."""
    court = running()
    court.say("fore", SimulatedFacts({"arm.fore.at": "bolt.1"}))
    court.pass_on("hoist", Do(1, "land length", "land_length"))

    court.say("hoist", Accepted(1))

    assert court.broken == ["W1"]


def test_complete_with_steps_left_undone_is_found() -> None:
    """Complete is a claim about every step."""
    court = running()

    court.decide(TimePassed(0), phase="complete")

    assert court.broken == ["E2"]
