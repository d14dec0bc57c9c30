"""The shell of a party: every refusal, at most once, two-phase start, holds, lapses, restarts."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

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
)
from sim_arms.ledger import FileStore
from tests.support.parties import SECOND_US, Driver, without_progress


def ready() -> Driver:
    """A party that will take commands."""
    driver = Driver()
    driver.wake_up()
    return driver


# To a copy of what was armed and dropped.
DROPPED = [Refused(1, "duplicate"), Refused(1, "never_begun")]


def reason(bodies: list[Body]) -> str:
    """The reason of a single refusal."""
    (refused,) = bodies
    assert isinstance(refused, Refused)
    return refused.reason


def test_a_command_is_accepted_runs_and_finishes_when_its_time_is_over() -> None:
    """The plain case, against which every refusal stands."""
    driver = ready()

    assert driver.do(1) == [Accepted(1)]
    assert driver.pass_time(SECOND_US - 1) == []
    assert without_progress(driver.pass_time(SECOND_US)) == [Finished(1, {"way": 1.0})]
    assert driver.state == "idle"


def test_an_expired_command_is_refused_and_moves_nothing() -> None:
    """A3: what comes after its expiry was meant for another moment."""
    driver = ready()

    answer = driver.say(Do(1, "step", "move"), now_us=1001, expires_us=1000)

    assert reason(answer) == "expired"
    assert driver.bench.moved == 0


def test_a_command_at_its_very_expiry_is_taken() -> None:
    """The bound itself is still good."""
    assert ready().say(Do(1, "step", "move"), now_us=1000, expires_us=1000) == [Accepted(1)]


def test_a_command_without_an_expiry_is_refused() -> None:
    """A3: a command always expires."""
    assert reason(ready().say(Do(1, "step", "move"), expires_us=None)) == "expired"


@pytest.mark.parametrize(
    "body", [Do(1, "s", "move"), Release(1, 0), Disarm(1, ""), Hold(""), MakeReady(), Ask(1)]
)
def test_every_retained_command_is_refused(body: Body) -> None:
    """The broker's memory commands nobody."""
    driver = ready()

    assert reason(driver.say(body, retained=True)) == "retained"
    assert driver.state == "idle"


def test_a_retained_lease_lets_nobody_move() -> None:
    """A lease from the broker's memory proves no living coordinator."""
    driver = Driver()
    driver.say(MakeReady())

    driver.say(Lease(600 * SECOND_US), retained=True)

    assert reason(driver.do(1)) == "no_lease"


def test_a_duplicate_moves_nothing_and_repeats_what_became_of_the_first() -> None:
    """A4: quality of service 1 may deliver twice, and late."""
    driver = ready()
    driver.do(1)
    assert driver.do(1) == [Refused(1, "duplicate"), Accepted(1)]
    driver.pass_time(2 * SECOND_US)

    answer = driver.say(Do(1, "step", "move"), now_us=2 * SECOND_US, expires_us=SECOND_US)

    assert answer == [Refused(1, "duplicate"), Finished(1, {"way": 1.0})]
    assert driver.bench.moved == 1


def test_an_older_command_number_is_outdated() -> None:
    """An overtaken command must not run after its successor."""
    driver = ready()
    driver.do(5)
    driver.pass_time(2 * SECOND_US)

    assert reason(driver.do(4, now_us=2 * SECOND_US)) == "outdated"
    assert driver.bench.moved == 1


def test_an_older_epoch_is_outdated_and_a_newer_one_is_adopted() -> None:
    """A coordinator that was replaced commands nobody any more."""
    driver = ready()

    assert driver.say(Do(1, "s", "stand_by"), epoch=3)[0] == Accepted(1)
    assert reason(driver.say(Do(2, "s", "move"), epoch=2)) == "outdated"
    assert driver.heard[-1].epoch == 3


def test_a_lease_of_an_older_epoch_prolongs_nothing() -> None:
    """A coordinator that was replaced must not keep arms moving."""
    driver = Driver()
    driver.say(MakeReady(), epoch=2)

    driver.say(Lease(600 * SECOND_US), epoch=1)

    assert reason(driver.say(Do(1, "s", "move"), epoch=2)) == "no_lease"


def test_a_party_wakes_up_held_and_is_unready() -> None:
    """H3: power coming back is no reason to move."""
    driver = Driver()
    driver.say(Lease(600 * SECOND_US))

    assert driver.state == "held"
    assert reason(driver.do(1)) == "unready"
    assert driver.say(MakeReady()) == [Ready()]
    assert driver.do(1) == [Accepted(1)]


def test_a_running_or_armed_party_is_unready_for_another_command() -> None:
    """One command in hand at a time."""
    driver = ready()
    driver.do(1)
    assert reason(driver.do(2)) == "unready"
    driver.pass_time(2 * SECOND_US)
    driver.do(3, now_us=2 * SECOND_US, barrier="pull")

    assert reason(driver.do(4, now_us=2 * SECOND_US)) == "unready"


def test_without_a_fresh_lease_nothing_begins() -> None:
    """L1: also at the very end of a lease."""
    driver = Driver()
    driver.say(MakeReady())
    assert reason(driver.do(1)) == "no_lease"
    driver.say(Lease(SECOND_US))

    assert reason(driver.do(1, now_us=SECOND_US)) == "no_lease"
    assert driver.do(1, now_us=SECOND_US - 1) == [Accepted(1)]


@pytest.mark.parametrize("value", [False, None])
def test_a_watched_signal_that_is_not_good_refuses(value: bool | None) -> None:
    """L5: unknown counts as bad."""
    driver = Driver(watched=("floor_clear",))
    driver.wake_up()
    assert reason(driver.do(1)) == "interlock"

    driver.say(FloorSignals({"floor_clear": value}))

    assert reason(driver.do(1)) == "interlock"


def test_a_retained_signal_is_not_believed() -> None:
    """The broker's memory says how the floor was, not how it is."""
    driver = Driver(watched=("floor_clear",))
    driver.wake_up()

    driver.say(FloorSignals({"floor_clear": True}), retained=True)

    assert reason(driver.do(1)) == "interlock"


def test_an_old_signal_refuses_and_an_older_one_changes_nothing() -> None:
    """L5: silence counts as bad; an overtaken message is no news."""
    driver = Driver(watched=("floor_clear",))
    driver.wake_up()
    driver.say(FloorSignals({"floor_clear": False}), sent_us=200, now_us=200)
    driver.say(FloorSignals({"floor_clear": True}), sent_us=100, now_us=201)
    assert reason(driver.do(1, now_us=201)) == "interlock"
    driver.say(FloorSignals({"floor_clear": True}), sent_us=300, now_us=300)

    assert reason(driver.do(1, now_us=300 + 1_500_001)) == "interlock"
    assert driver.do(1, now_us=300 + 1_500_000) == [Accepted(1)]


def test_standing_by_needs_no_signal_and_is_done_at_once() -> None:
    """It moves nothing, so nothing can forbid it but a missing lease."""
    driver = Driver(watched=("floor_clear",))
    driver.wake_up()

    assert driver.do(1, "stand_by") == [Accepted(1), Finished(1)]


@pytest.mark.parametrize("torque", [8_000.1, float("nan"), -1.0])
def test_a_torque_outside_the_own_cap_is_unfit(torque: float) -> None:
    """The coordinator is not trusted to be right."""
    assert reason(ready().do(1, "pull", torque=torque)) == "unfit"


def test_an_unknown_action_is_unfit_and_its_number_may_be_used_again() -> None:
    """A refused command was not obeyed."""
    driver = ready()

    assert reason(driver.do(1, "dance")) == "unfit"
    assert driver.do(1) == [Accepted(1)]


def test_a_released_command_starts_at_its_start_time_and_not_before() -> None:
    """B3: armed moves nothing; the start is measured and differs by the latency only."""
    driver = ready()
    assert driver.do(1, barrier="pull") == [Armed(1)]
    assert driver.pass_time(5 * SECOND_US) == []

    assert driver.say(Release(1, 6 * SECOND_US), 5 * SECOND_US) == []
    assert driver.pass_time(6 * SECOND_US - 1) == []
    assert driver.bench.moved == 0
    started, *rest = without_progress(driver.pass_time(8 * SECOND_US))

    assert isinstance(started, Started)
    assert 6 * SECOND_US <= started.started_us <= 6 * SECOND_US + 8_000
    assert rest == [Finished(1, {"way": 1.0})]


def test_a_start_time_just_past_starts_at_once_and_a_late_one_is_refused() -> None:
    """The other side began without us: starting now would be out of step."""
    driver = ready()
    driver.do(1, barrier="pull", now_us=0)
    assert reason(driver.say(Release(1, SECOND_US), SECOND_US + 500_001)) == "expired"

    driver.say(Release(1, SECOND_US), SECOND_US + 500_000)

    (started, *_) = driver.pass_time(SECOND_US + 508_000)
    assert isinstance(started, Started)
    assert started.started_us >= SECOND_US + 500_000


def test_a_second_release_changes_no_start_time() -> None:
    """A duplicate on the bus must not move the start."""
    driver = Driver(latency_us_max=0)
    driver.wake_up()
    driver.do(1, barrier="pull")
    driver.say(Release(1, 2 * SECOND_US), 0)

    assert driver.say(Release(1, 3 * SECOND_US), 10) == [Refused(1, "duplicate"), Armed(1)]

    assert driver.pass_time(2 * SECOND_US)[0] == Started(1, 2 * SECOND_US)


def test_a_release_of_a_command_that_is_not_armed_is_refused() -> None:
    """Nothing passes a barrier that was not prepared."""
    driver = ready()
    assert reason(driver.say(Release(1, 0))) == "unready"
    driver.do(5)
    driver.pass_time(2 * SECOND_US)

    assert reason(driver.say(Release(3, 2 * SECOND_US), 2 * SECOND_US)) == "outdated"
    assert driver.bench.moved == 1


def test_a_disarmed_command_never_starts_not_even_when_sent_again() -> None:
    """Refusal or silence by one side disarms both; a late copy must not arm again."""
    driver = ready()
    driver.do(1, barrier="pull")
    driver.say(Release(1, SECOND_US))

    assert driver.say(Disarm(1, "the other side is silent"), 10) == []
    assert driver.state == "idle"
    assert driver.pass_time(3 * SECOND_US) == []
    assert driver.do(1, barrier="pull", now_us=3 * SECOND_US) == DROPPED
    assert reason(driver.say(Ask(1), 3 * SECOND_US)) == "never_begun"
    assert driver.bench.moved == 0


def test_a_disarm_that_overtakes_its_command_keeps_it_from_arming() -> None:
    """The bus may reorder."""
    driver = ready()
    driver.say(Disarm(1, "withdrawn"))

    assert reason(driver.do(1, barrier="pull")) == "outdated"


def test_a_disarm_of_a_running_command_says_what_became_of_it() -> None:
    """Too late to forget: the coordinator must hear that it began."""
    driver = ready()
    driver.do(1)

    assert driver.say(Disarm(1, "too late"), 10) == [Accepted(1)]
    assert driver.state == "running"


def test_a_hold_brings_a_running_command_to_rest_then_reports_held() -> None:
    """It comes to rest first, and says how far it came."""
    driver = ready()
    driver.do(1, "long")

    assert driver.say(Hold("floor"), 10 * SECOND_US)[-1] == Progressed(1)
    assert driver.state == "holding"
    assert driver.say(Hold("again"), 10 * SECOND_US + 1) == []
    assert reason(driver.say(MakeReady(), 10 * SECOND_US + 2)) == "unready"
    bodies = driver.pass_time(10 * SECOND_US + 250_000)

    assert bodies == [Interrupted(1, {"way": 0.5}), Held("floor")]
    assert driver.state == "held"


def test_a_hold_of_a_command_that_finishes_first_reports_both() -> None:
    """`finish` is a hold behaviour of its own."""
    driver = ready()
    driver.say(Do(1, "step", "move", on_hold="finish"))

    driver.say(Hold("operator"), 500_000)

    assert driver.pass_time(SECOND_US) == [Finished(1, {"late": True}), Held("operator")]


def test_a_hold_of_an_idle_armed_or_held_party_is_answered_at_once() -> None:
    """Idempotent; an armed command is never begun, which is said before that it stands."""
    driver = ready()
    assert [*driver.say(Hold("a")), *driver.say(Hold("b"))] == [Held("a"), Held("b")]
    driver.say(MakeReady())
    driver.do(1, barrier="pull")
    assert driver.say(Hold("c")) == [Refused(1, "never_begun"), Held("c")]
    assert driver.say(Release(1, 0)) == DROPPED
    assert reason(driver.say(Ask(1))) == "never_begun"


def test_a_hold_answers_with_its_number_and_an_older_one_is_outdated() -> None:
    """Only the answer to the latest hold proves that the party stands."""
    driver = ready()
    driver.do(4, "long")
    driver.say(Hold("balance", 5), SECOND_US)
    driver.say(Hold("everybody", 7), SECOND_US + 1)
    assert driver.pass_time(2 * SECOND_US)[-1] == Held("everybody", 7)
    assert driver.say(Hold("everybody", 7), 2 * SECOND_US) == [Held("everybody", 7)]

    assert driver.say(MakeReady(8), 2 * SECOND_US) == [Ready(8)]

    late = Refused(7, "outdated", "obeyed 8 already")
    assert driver.say(Hold("late", 7), 2 * SECOND_US) == [late]
    assert driver.state == "idle"
    assert reason(driver.do(6, now_us=2 * SECOND_US)) == "outdated"


def test_a_second_copy_of_a_make_ready_does_not_undo_a_hold_by_itself() -> None:
    """H3: the first copy was obeyed; what held the party since then stands."""
    driver = Driver()
    driver.say(Lease(SECOND_US))
    driver.say(MakeReady(1))
    assert driver.say(MakeReady(1)) == [Ready(1)]
    driver.do(2, "long")
    driver.pass_time(2 * SECOND_US)

    assert reason(driver.say(MakeReady(1), 2 * SECOND_US)) == "outdated"
    driver.say(MakeReady(3), 2 * SECOND_US)
    driver.say(Hold("operator"), 2 * SECOND_US)
    assert reason(driver.say(MakeReady(3), 2 * SECOND_US)) == "duplicate"
    assert driver.state == "held"


def test_a_lapsed_lease_holds_a_running_command_by_itself() -> None:
    """L2: silence of the coordinator is enough."""
    driver = Driver()
    driver.wake_up(until_us=3 * SECOND_US)
    driver.do(1, "long")

    bodies = without_progress(driver.pass_time(5 * SECOND_US))

    assert bodies == [Interrupted(1, {"way": 0.5}), Held("no fresh lease")]
    assert driver.bench.told_us == [0, 3 * SECOND_US, 3 * SECOND_US + 250_000]


def test_a_lease_only_prolongs_and_counts_for_thirty_seconds_at_most() -> None:
    """An overtaken lease must not shorten; one far too long must not move an arm for ever."""
    driver = Driver()
    driver.wake_up(until_us=100 * SECOND_US)
    driver.say(Lease(SECOND_US))

    assert reason(driver.do(1, now_us=30 * SECOND_US)) == "no_lease"
    assert driver.do(1, now_us=30 * SECOND_US - 1) == [Accepted(1)]


def test_a_renewed_lease_lets_it_go_on() -> None:
    """The lease only prolongs."""
    driver = Driver()
    driver.wake_up(until_us=SECOND_US)
    driver.do(1, "long")
    for second in range(1, 31):
        driver.pass_time(second * SECOND_US - 500_000)
        driver.say(Lease((second + 1) * SECOND_US), second * SECOND_US - 500_000)

    assert without_progress(driver.pass_time(30 * SECOND_US)) == [Finished(1, {"way": 1.0})]


@pytest.mark.parametrize("value", [False, None])
def test_a_signal_lost_while_running_holds_at_once(value: bool | None) -> None:
    """L5: the arm holds by itself, whatever the coordinator thinks."""
    driver = Driver(watched=("floor_clear",))
    driver.wake_up()
    driver.say(FloorSignals({"floor_clear": True}))
    driver.do(1)

    driver.say(FloorSignals({"floor_clear": value}), 500_000)

    assert driver.state == "holding"
    ended, held = driver.pass_time(750_000)
    assert ended == Interrupted(1, {"way": 0.5})
    assert isinstance(held, Held)
    assert "floor_clear" in held.reason


def test_a_silent_floor_holds_a_running_and_an_armed_command() -> None:
    """L5: too old is as bad as bad."""
    for barrier in (None, "pull"):
        driver = Driver(watched=("floor_clear",))
        driver.wake_up()
        driver.say(FloorSignals({"floor_clear": True}))
        driver.do(1, "long", barrier=barrier)

        driver.pass_time(1_500_000)
        assert driver.state == ("running" if barrier is None else "armed")
        driver.pass_time(2 * SECOND_US)

        assert driver.state == "held"


def test_a_fault_of_physics_is_reported_with_its_evidence() -> None:
    """The party stands still, and takes the next command."""
    driver = ready()
    driver.do(1, "fail")

    assert driver.pass_time(SECOND_US) == [Faulted(1, "reaction_lost", {"torque_nm": 3.0})]
    assert driver.state == "idle"


def test_progress_tells_what_the_tool_feels_and_once_a_second_otherwise() -> None:
    """The coordinator's balance band lives on it."""
    driver = ready()
    driver.do(1, "pull")

    assert driver.pass_time(SECOND_US) == [
        Progressed(1, 100.0),
        Progressed(1, 200.0),
        Finished(1, {"torque_nm": 200.0}),
    ]
    driver.do(2, "long", now_us=2 * SECOND_US)
    assert driver.pass_time(20 * SECOND_US) == [Progressed(2)] * 18


def test_facts_leave_before_the_report_that_rests_on_them() -> None:
    """The other arm must not hear of an outcome before its steel shows it."""
    driver = ready()
    driver.do(1)

    driver.pass_time(SECOND_US)

    kinds = [type(message.body) for message in driver.heard]
    assert kinds.index(SimulatedFacts) < kinds.index(Finished)


def test_an_empty_fact_message_is_answered_with_what_this_party_wrote() -> None:
    """A simulated party that starts anew asks the others for the steel."""
    driver = ready()
    driver.do(1)
    driver.pass_time(SECOND_US)
    driver.heard.clear()
    asking = Message("aft", "aft", 1, 0, 0, SimulatedFacts({}))
    theirs = Message("aft", "aft", 1, 0, 0, SimulatedFacts({"arm.aft.at": "rack"}))
    driver.shell.receive(theirs, SECOND_US)

    (answer,) = driver.shell.receive(asking, SECOND_US)

    assert answer.body == SimulatedFacts({"moved": 1, "arm.aft.at": "rack"})
    assert driver.bench.applied == {"arm.aft.at": "rack"}


def test_heartbeats_come_each_second_and_at_each_change_with_growing_sequence() -> None:
    """Silence must be told from health."""
    driver = ready()
    driver.heard.clear()
    driver.do(1)
    driver.pass_time(10 * SECOND_US)

    states = [message for message in driver.heard if isinstance(message.body, PartyState)]
    gaps = [b.sent_us - a.sent_us for a, b in pairwise(states)]
    sequences = [message.sequence for message in driver.heard]

    assert max(gaps) <= SECOND_US
    assert states[0].body == PartyState(True, 1, "running", running=1)
    assert states[-1].body == PartyState(True, 1, "idle", last_command=1, last_outcome="finished")
    assert all(b - a == 1 for a, b in pairwise(sequences))


def test_an_ask_repeats_the_last_report_and_says_unknown_otherwise() -> None:
    """Unknown outcome means ask."""
    driver = ready()
    assert reason(driver.say(Ask(1))) == "unknown"
    driver.do(1)
    assert driver.say(Ask(1)) == [Accepted(1)]
    driver.pass_time(SECOND_US)
    assert driver.say(Ask(1), SECOND_US) == [Finished(1, {"way": 1.0})]
    driver.do(2, now_us=SECOND_US, barrier="pull")

    assert driver.say(Ask(2), SECOND_US) == [Armed(2)]


def test_after_a_restart_a_command_that_ran_is_interrupted_and_never_runs_again() -> None:
    """A4 over a crash: nobody can tell how far it came, so nothing says it did nothing."""
    driver = ready()
    driver.do(1)
    driver.pass_time(SECOND_US)
    driver.do(2, "long", now_us=SECOND_US)

    driver.restart(2 * SECOND_US)
    driver.say(Lease(600 * SECOND_US), 2 * SECOND_US)
    assert driver.state == "held"
    assert driver.shell.epoch == 1
    driver.say(MakeReady(), 2 * SECOND_US)

    lost = Interrupted(2, {"process_died": True})
    assert driver.say(Ask(1), 2 * SECOND_US) == [Finished(1, {"way": 1.0})]
    assert driver.say(Ask(2), 2 * SECOND_US) == [lost]
    assert driver.do(2, now_us=2 * SECOND_US) == [Refused(2, "duplicate"), lost]
    assert driver.bench.moved == 2


def test_after_a_restart_an_armed_command_never_began_and_cannot_be_armed_again() -> None:
    """Prepared is not moved; a late copy is outdated all the same."""
    driver = ready()
    driver.do(1, barrier="pull")

    driver.restart(SECOND_US)
    driver.say(Lease(600 * SECOND_US), SECOND_US)
    driver.say(MakeReady(), SECOND_US)

    assert reason(driver.say(Ask(1), SECOND_US)) == "never_begun"
    assert driver.do(1, now_us=SECOND_US, barrier="pull") == DROPPED


def test_a_driver_that_wakes_late_still_lets_the_lease_lapse_first() -> None:
    """A process that was suspended must not go on with what came due after the lapse."""
    driver = Driver()
    driver.wake_up(until_us=SECOND_US // 2)
    driver.do(1)

    driver.shell.advance(20 * SECOND_US)

    assert driver.shell.ledger.report_of(1) != Finished(1, {"way": 1.0})


def test_the_outcome_is_in_the_file_before_it_is_told(tmp_path: Path) -> None:
    """What was told can be told again after a crash."""
    path = tmp_path / "ledger.sqlite"
    driver = Driver(store=FileStore(path))
    driver.wake_up()
    driver.do(1)

    assert [m.body for m in FileStore(path).load()] == [Accepted(1)]
    driver.pass_time(SECOND_US)

    assert [m.body for m in FileStore(path).load()] == [Finished(1, {"way": 1.0})]


def test_no_refusal_ever_moves_anything() -> None:
    """All refusals at once, by count of what moved."""
    driver = Driver(watched=("floor_clear",))
    bad = [Do(n, "s", "move") for n in range(1, 6)]
    for body in bad:
        driver.say(body)
        driver.say(body, expires_us=None)
        driver.say(replace(body, barrier="pull"), retained=True)

    assert driver.bench.moved == 0
    assert driver.pass_time(10 * SECOND_US) == []
