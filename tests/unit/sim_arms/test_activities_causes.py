"""What each cause does to a thread, a nut, a wrench or an eye, judged by its own figures."""

import math

import pytest

from coordinator.wire.messages import Value
from sim_arms.causes import Cause
from sim_arms.physics.thread import RunDown, pick_up_turns
from sim_arms.physics.wrench import WrenchModel
from tests.unit.sim_arms.bench_driver import Rig, degrees
from tests.unit.sim_arms.test_activities_wrenching import LOOSEN, ONE, TORQUE_NM, rig_with_wrench


def with_bolt_placed(*causes: Cause) -> Rig:
    """Return a rig in which fore has set bolt 1 into its hole."""
    rig = Rig(*causes)
    rig.do("fore", "change_tool", tool="spinner")
    for action in ("locate_hole", "locate_bolt", "turn_socket", "pick_bolt", "place_bolt"):
        rig.do("fore", action, bolt=1)
    return rig


def again(rig: Rig) -> None:
    """Back the bolt off, lift it, locate the hole and set the bolt down again."""
    rig.do("fore", "back_off", bolt=1, turns=2)
    rig.do("fore", "lift")
    rig.do("fore", "locate_hole", bolt=1)
    rig.do("fore", "place_bolt", bolt=1)


def test_a_thread_that_galls_stalls_earlier_at_each_attempt() -> None:
    """Backing off tears more metal instead of shedding it."""
    rig = with_bolt_placed(Cause("galling", bolt=1))
    turns = []
    for _ in range(3):
        fault = rig.fault_of("fore", "run_up", bolt=1)
        turns.append(float(fault.evidence["turns"]))
        rig.do("fore", "back_off", bolt=1, turns=20)

    assert fault.kind == "thread_stalled"
    # 200 N·m stop less 5.08 running, over 25, then 37.5 and 56.25 a turn from turn 6 on.
    assert turns == pytest.approx([6.0 + 194.92 / slope for slope in (25.0, 37.5, 56.25)])


def test_a_burr_on_the_first_thread_stalls_once_and_is_passed_when_worn() -> None:
    """300 N·m stop the spinner within the first half turn; 180 N·m do not."""
    rig = with_bolt_placed(Cause("thread_burr", bolt=1))

    fault = rig.fault_of("fore", "run_up", bolt=1)
    again(rig)
    done = rig.do("fore", "run_up", bolt=1)

    assert fault.kind == "thread_stalled"
    assert fault.evidence["turns"] == pytest.approx(0.5 * 194.92 / 300.0)
    assert done.results["turns"] == pytest.approx(18.9, abs=0.1)


def test_a_stuck_travel_switch_tells_no_entry_of_a_bolt_that_has_entered() -> None:
    """The head sank three millimetres, and nobody was told."""
    rig = with_bolt_placed(Cause("travel_switch_stuck", side="fore"))

    fault = rig.fault_of("fore", "run_up", bolt=1)

    assert (fault.kind, fault.evidence["travel_m"]) == ("never_entered", 0.0)
    assert rig.hoist.steel.number("bolt.1.turns") == pytest.approx(3.0 / 3.175)
    again(rig)
    assert rig.do("fore", "run_up", bolt=1).results


@pytest.mark.parametrize("cause", ["turns_with_nut", "hex_rounded"])
def test_a_nut_that_cannot_be_driven_further_gains_no_torque(cause: str) -> None:
    """Above 1000 N·m the stud turns along, or the socket climbs over the corners."""
    rig = rig_with_wrench(Cause(cause, bolt=1, parameters=(("torque", 1000.0),)))

    fault = rig.fault_of("fore", "pull", **ONE)

    assert fault.kind == "turns_without_torque"
    assert float(fault.evidence["torque_nm"]) == pytest.approx(1000.0, rel=0.015)
    law = rig.arms["fore"].steel.law(1)
    assert rig.loads_n()[0] == pytest.approx(law.load_n(1000.0), rel=0.05)


@pytest.mark.parametrize("cause", ["turns_with_nut", "hex_rounded"])
def test_a_nut_that_cannot_be_driven_back_is_not_loose(cause: str) -> None:
    """The pressure does not fall from stroke to stroke, so the bolt does not count as loose."""
    stops = Cause(cause, bolt=1, parameters=(("torque", 500.0),))
    rig = rig_with_wrench(stops, begins="made_up", over=True)
    before_n = rig.loads_n()[0]

    fault = rig.fault_of("fore", "break_loose", **LOOSEN)

    assert fault.kind == "not_loose"
    assert rig.loads_n()[0] == before_n


def test_a_joint_that_beds_in_loses_load_and_gives_it_back_in_the_next_pull() -> None:
    """60 um under one nut are 6.8 degrees of it."""
    rig = rig_with_wrench(Cause("joint_beds_in", bolt=1, times=1))
    rig.do("fore", "pull", **ONE)

    fault = rig.fault_of("fore", "confirm_torque", **ONE)
    rig.do("fore", "confirm_torque", **ONE)

    assert fault.kind == "nut_turned"
    assert degrees(fault.evidence["angle_rad"]) == pytest.approx(360.0 * 60e-6 / 3.175e-3, rel=1e-3)


def test_a_gauge_that_reads_high_leaves_less_load_at_the_same_reading() -> None:
    """The record looks right; the bolt carries a tenth less."""
    true, high = rig_with_wrench(), rig_with_wrench(Cause("gauge_reads_high", side="fore"))

    readings = [rig.do("fore", "pull", **ONE).results["torque_nm"] for rig in (true, high)]

    assert readings == pytest.approx([TORQUE_NM, TORQUE_NM], rel=0.015)
    assert high.loads_n()[0] / true.loads_n()[0] == pytest.approx(1.0 / 1.1, rel=0.03)


def test_a_valve_that_sticks_lets_torque_and_load_overshoot() -> None:
    """The pump goes on for 2.5 s after the set point."""
    rig = rig_with_wrench(Cause("valve_sticks", side="fore"))

    torque_nm = float(rig.do("fore", "pull", **ONE).results["torque_nm"])

    assert torque_nm > 1.05 * TORQUE_NM
    assert rig.loads_n()[0] > rig.arms["fore"].steel.law(1).load_n(TORQUE_NM)


def pull_s(*causes: Cause) -> tuple[float, Value]:
    """Return how long a pull takes and in how many strokes."""
    rig = rig_with_wrench(*causes)
    began_s = rig.time_s
    strokes = rig.do("fore", "pull", **ONE).results["strokes"]
    return rig.time_s - began_s, strokes


def test_air_in_the_oil_makes_each_stroke_longer_by_the_time_to_press_it_together() -> None:
    """Boyle: nearly the whole 40 mL, at 4 mL a second, in each stroke."""
    sound, airy = pull_s(), pull_s(Cause("air_in_oil", side="fore"))

    assert airy[1] == sound[1]
    assert airy[0] - sound[0] == pytest.approx(int(str(sound[1])) * 10.0, rel=0.02)


def test_air_is_pressed_together_by_the_law_of_boyle() -> None:
    """Pressure of the air times its volume stays: from 1 to 101 bar one hundredth is left."""
    model = WrenchModel(oil_m3=1.0e-3, flow_m3_s=1.0e-5)
    hundred_nm = model.torque_nm(100.0 * 101_325.0)

    assert model.air_s(0.1, 0.0, hundred_nm) == pytest.approx(10.0 * (1.0 - 1.0 / 101.0))
    assert model.air_s(0.1, hundred_nm, 0.0) == 0.0


def test_a_worn_pawl_takes_more_strokes_and_one_worn_out_turns_nothing() -> None:
    """Half of each stroke is lost; beyond a whole stroke the nut never moves."""
    worn_out = Cause("pawl_worn", side="fore", parameters=(("slip", math.radians(25.0)),))

    assert int(str(pull_s(Cause("pawl_worn"))[1])) > int(str(pull_s()[1]))
    assert rig_with_wrench(worn_out).fault_of("fore", "pull", **ONE).kind == "turns_without_torque"


def test_the_sound_back_lash_is_the_free_run_at_the_start_of_each_stroke() -> None:
    """One degree at the drive's speed, at no torque, and the nut stands."""
    trace = rig_with_wrench().do("fore", "pull", **ONE).trace
    assert trace is not None
    free_s = math.radians(1.0) / (4.0e-6 / (1.6e-3 * 0.08))

    assert trace.torque_nm[1] == 0.0 < trace.torque_nm[2]
    assert trace.time_s[1] == pytest.approx(free_s, abs=1e-3)


def test_a_coupling_that_does_not_go_home_is_told_after_the_lock() -> None:
    """Two confirmations: the lock holds, the oil does not come."""
    rig = Rig(Cause("coupling_open", side="fore"))

    fault = rig.fault_of("fore", "change_tool", tool="wrench")
    rig.do("fore", "change_tool", tool="wrench")

    assert fault.kind == "tool_not_coupled"
    assert (fault.evidence["locked"], fault.evidence["coupled"]) == (True, False)


def test_a_knocked_camera_is_sure_and_wrong_at_every_look() -> None:
    """A bias that all edges share shows in no confidence."""
    rig = Rig(Cause("camera_knocked", side="fore"))
    for _ in range(2):
        found = rig.do("fore", "locate_hole", bolt=1)
        assert float(found.results["confidence"]) > 0.9
        assert rig.arms["fore"].lateral_m(1) == pytest.approx(3.0e-3, abs=0.6e-3)


def test_a_mis_detection_is_a_little_less_sure_and_gone_at_the_next_look() -> None:
    """Nine edges in ten agree with the wrong thing."""
    rig = Rig(Cause("mis_detection", bolt=1))

    wrong = float(rig.do("fore", "locate_hole", bolt=1).results["confidence"])
    off_m = rig.arms["fore"].lateral_m(1)
    right = float(rig.do("fore", "locate_hole", bolt=1).results["confidence"])

    assert wrong == pytest.approx(0.9 * right, abs=0.05)
    assert off_m == pytest.approx(6.0e-3, abs=0.6e-3)
    assert rig.arms["fore"].lateral_m(1) < 0.6e-3


def test_heave_swings_the_joint_as_a_sine_of_time() -> None:
    """A quarter of the period after nought it is out by its amplitude, at half it is home."""
    swing = Cause("heave", parameters=(("amplitude", 4.0e-3), ("period", 20.0)))
    rig = Rig(swing)
    off_m = []
    for rig.time_s in (0.0, 5.0, 10.0, 15.0):
        off_m.append(rig.arms["fore"].true_shift().x_m)

    assert off_m == pytest.approx([0.0, 4.0e-3, 0.0, -4.0e-3], abs=1e-9)


@pytest.mark.parametrize(
    ("run_down", "turns"),
    [
        (RunDown(5.0), math.inf),
        (RunDown(205.0), 0.0),
        (RunDown(5.0, burr_nm=390.0), 0.25),
        (RunDown(5.0, climbs=((4.0, 30.0),)), 10.5),
        (RunDown(5.0, climbs=((4.0, 30.0), (8.0, 10.0))), 8.0 + 75.0 / 40.0),
    ],
)
def test_a_spinner_stalls_where_the_running_torque_comes_to_its_stop(
    run_down: RunDown, turns: float
) -> None:
    """By hand, for a stop of 200 N·m; a burr passed long ago stalls nothing."""
    assert run_down.stalls_at(200.0) == pytest.approx(turns)
    assert RunDown(5.0, burr_nm=390.0).stalls_at(200.0, began=2.0) == math.inf


def test_threads_meet_within_one_turn_forward() -> None:
    """A single-start thread has one place to begin."""
    assert pick_up_turns(0.0, math.pi) == pytest.approx(0.5)
    assert pick_up_turns(math.pi, 0.0) == pytest.approx(0.5)
    assert pick_up_turns(0.1, 0.1) == 0.0
