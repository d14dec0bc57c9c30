"""Bolts from the bin to their shoulder: what goes wrong from causes, and what cures it."""

import math
from pathlib import Path

import pytest
import yaml

from sim_arms.activities import ACTIONS, HOIST_ACTIONS, Unfit
from sim_arms.activity import HoldAsked
from sim_arms.causes import Cause
from tests.unit.sim_arms.bench_driver import Rig

CELL = Path(__file__).parents[3] / "sequences" / "cells" / "sill_point.yaml"


def rig_with_spinner(*causes: Cause, seed: int = 1) -> Rig:
    """Return a rig whose arms hold their spinners."""
    rig = Rig(*causes, seed=seed)
    for side in rig.arms:
        rig.do(side, "change_tool", tool="spinner")
    return rig


def test_the_actions_and_their_parameters_are_those_of_the_cell_file() -> None:
    """The cell file is the contract; an arm that knows other actions is another arm."""
    # BaseLoader: every scalar a string, for YAML 1.1 reads a bare `on` as true.
    cell = yaml.load(CELL.read_text(encoding="utf-8"), yaml.BaseLoader)["actions"]
    arms = {name: entry for name, entry in cell.items() if entry.get("by") != "hoist"}

    takes = {name: {key for key, _ in entry.takes} for name, entry in ACTIONS.items()}
    needs = {name: entry.needs for name, entry in ACTIONS.items()}

    assert takes == {name: {*entry.get("takes", {})} for name, entry in arms.items()}
    assert needs == {name: entry.get("needs", "") for name, entry in arms.items()}
    assert [*HOIST_ACTIONS] == [name for name in cell if name not in arms]


@pytest.mark.parametrize("seed", range(1, 9))
def test_without_causes_all_bolts_run_up_to_their_shoulder(seed: int) -> None:
    """Seeded scatter alone must never make a fault."""
    rig = rig_with_spinner(seed=seed)
    for bolt in range(1, 9):
        rig.bolt_in("fore" if bolt < 5 else "aft", bolt)

    steel = rig.hoist.steel
    assert all(steel.where(bolt) == "hole" for bolt in range(1, 9))
    assert all(steel.load_n(bolt) > 0.0 for bolt in range(1, 9))
    assert all(
        steel.number(f"bolt.{bolt}.turns") == pytest.approx(18.8976, abs=1e-4)
        for bolt in range(1, 9)
    )


def test_a_wrong_hex_angle_is_cured_by_measuring_again() -> None:
    """The camera erred once; the socket stands on the hex until the angle is taken anew."""
    rig = rig_with_spinner(Cause("hex_angle_wrong", bolt=2, parameters=(("off", 0.3),)))
    rig.do("fore", "locate_bolt", bolt=2)
    rig.do("fore", "turn_socket", bolt=2)

    fault = rig.fault_of("fore", "pick_bolt", bolt=2)
    for action in ("lift", "locate_bolt", "turn_socket", "pick_bolt"):
        rig.do("fore", action, **({} if action == "lift" else {"bolt": 2}))

    assert fault.kind == "socket_not_seated"
    assert rig.arms["fore"].holding == 2


@pytest.mark.parametrize("turn_again", [False, True])
def test_a_burr_is_cured_by_indexing_the_socket_to_another_corner(turn_again: bool) -> None:
    """By a sixth at once, or by 10 degrees and then forward to the next angle that fits."""
    rig = rig_with_spinner(Cause("burr", bolt=3))
    rig.do("fore", "locate_bolt", bolt=3)
    rig.do("fore", "turn_socket", bolt=3)
    first = rig.fault_of("fore", "pick_bolt", bolt=3)
    rig.do("fore", "lift")
    second = rig.fault_of("fore", "pick_bolt", bolt=3)
    rig.do("fore", "lift")
    rig.do("fore", "index_socket", by=math.radians(10.0 if turn_again else 60.0))
    if turn_again:
        rig.do("fore", "locate_bolt", bolt=3)
        rig.do("fore", "turn_socket", bolt=3)

    rig.do("fore", "pick_bolt", bolt=3)

    assert (first.kind, second.kind) == ("socket_not_seated", "socket_not_seated")


@pytest.mark.parametrize(("off_mm", "kind"), [(3.0, "thread_stalled"), (6.0, "never_entered")])
def test_a_misplaced_bolt_is_cured_by_locating_the_hole_and_placing_again(
    off_mm: float, kind: str
) -> None:
    """Trying again without a new look meets the same wall; with it the thread starts."""
    rig = rig_with_spinner(Cause("bolt_misplaced", bolt=1, parameters=(("off_x", off_mm * 1e-3),)))
    for action in ("locate_hole", "locate_bolt", "turn_socket", "pick_bolt", "place_bolt"):
        rig.do("fore", action, bolt=1)
    first = rig.fault_of("fore", "run_up", bolt=1)
    again = rig.fault_of("fore", "run_up", bolt=1)

    rig.do("fore", "back_off", bolt=1, turns=2.0)
    rig.do("fore", "lift")
    rig.do("fore", "locate_hole", bolt=1)
    rig.do("fore", "place_bolt", bolt=1)
    done = rig.do("fore", "run_up", bolt=1)

    assert (first.kind, again.kind) == (kind, kind)
    assert done.results["turns"] == pytest.approx(18.9, abs=0.1)


def test_swarf_is_cured_by_backing_off() -> None:
    """Each backing off sheds a share; with the rest the torque stays below the spinner's stop."""
    rig = rig_with_spinner(Cause("swarf_in_thread", bolt=6))
    for action in ("locate_hole", "locate_bolt", "turn_socket", "pick_bolt", "place_bolt"):
        rig.do("aft", action, bolt=6)
    fault = rig.fault_of("aft", "run_up", bolt=6)

    rig.do("aft", "back_off", bolt=6, turns=2.0)
    done = rig.do("aft", "run_up", bolt=6)

    assert fault.kind == "thread_stalled"
    assert 4.0 < float(fault.evidence["turns"]) < 18.0
    assert done.results["turns"] == pytest.approx(18.9, abs=0.1)


def test_a_leaning_bolt_crosses_and_starts_clean_after_one_gentle_back_off() -> None:
    """Half a pitch over the diameter is 1.8 degrees; the case leans the bolt by 3.4."""
    rig = rig_with_spinner(Cause("crossed_start", bolt=1))
    for action in ("locate_hole", "locate_bolt", "turn_socket", "pick_bolt", "place_bolt"):
        rig.do("fore", action, bolt=1)
    fault = rig.fault_of("fore", "run_up", bolt=1)

    rig.do("fore", "back_off", bolt=1, turns=1.0)
    rig.do("fore", "lift")
    rig.do("fore", "place_bolt", bolt=1)
    rig.do("fore", "run_up", bolt=1)

    assert fault.kind == "cross_thread"
    assert float(fault.evidence["turns"]) < 0.5


def test_a_bolt_gone_from_the_bin_is_not_located_and_not_held() -> None:
    """Seen before it went, the fork closes on nothing; looked at afterwards, there is nothing."""
    rig = rig_with_spinner(Cause("bolt_missing", bolt=4, at_us=60_000_000))
    rig.do("fore", "locate_bolt", bolt=4)
    rig.time_s = 60.0

    assert rig.fault_of("fore", "pick_bolt", bolt=4).kind == "bolt_not_held"
    assert rig.fault_of("fore", "locate_bolt", bolt=4).kind == "not_located"


def test_a_joint_pushed_aside_is_missed_until_it_is_located_again() -> None:
    """The hole found before the push is no longer where the arm goes."""
    rig = rig_with_spinner(Cause("joint_shift", at_us=100_000_000))
    for action in ("locate_hole", "locate_bolt", "turn_socket", "pick_bolt"):
        rig.do("fore", action, bolt=1)
    rig.time_s = 101.0
    rig.do("fore", "place_bolt", bolt=1)
    fault = rig.fault_of("fore", "run_up", bolt=1)
    rig.do("fore", "lift")

    shift = rig.do("fore", "locate_joint").results["shift_m"]
    rig.do("fore", "place_bolt", bolt=1)
    rig.do("fore", "run_up", bolt=1)

    assert fault.kind == "never_entered"
    assert shift == pytest.approx(8.0e-3, abs=1.0e-3)


def test_glare_costs_the_pose_until_it_passes() -> None:
    """The confidence sinks below what is trusted, and is told."""
    rig = rig_with_spinner(Cause("glare", side="fore", times=1))

    fault = rig.fault_of("fore", "locate_hole", bolt=1)

    assert fault.kind == "not_located"
    assert float(fault.evidence["confidence"]) < 0.6
    assert float(rig.do("fore", "locate_hole", bolt=1).results["confidence"]) > 0.8


def test_a_part_that_slips_is_dropped_and_a_lock_that_fails_is_told() -> None:
    """Both act once; the lock holds at the second try."""
    rig = Rig(Cause("gripper_slips", side="fore"), Cause("tool_lock_fails", side="aft"))
    rig.do("fore", "change_tool", tool="gripper")

    assert rig.fault_of("fore", "fit_cover").kind == "part_dropped"
    assert not rig.hoist.steel.flag("cover")
    assert rig.fault_of("aft", "change_tool", tool="wrench").kind == "tool_not_locked"
    rig.do("aft", "change_tool", tool="wrench")
    assert rig.arms["aft"].tool == "wrench"


def test_a_bolt_set_onto_a_guide_pin_never_enters() -> None:
    """The pin fills the hole."""
    rig = Rig()
    rig.do("fore", "change_tool", tool="gripper")
    rig.do("fore", "fit_pin", hole=2, turns=5)
    rig.do("fore", "change_tool", tool="spinner")
    for action in ("locate_hole", "locate_bolt", "turn_socket", "pick_bolt", "place_bolt"):
        rig.do("fore", action, bolt=2)

    assert rig.fault_of("fore", "run_up", bolt=2).kind == "never_entered"


def test_a_held_run_up_leaves_the_bolt_where_it_got_to_and_goes_on_from_there() -> None:
    """Ten seconds and the brake at 0.4 turns a second, less the part turn until threads meet."""
    rig = rig_with_spinner()
    for action in ("locate_hole", "locate_bolt", "turn_socket", "pick_bolt", "place_bolt"):
        rig.do("fore", action, bolt=1)
    before_s, steel = rig.time_s, rig.hoist.steel
    part = (steel.thread_rad(1) - steel.hex_rad(1)) / math.tau % 1.0

    hold = rig.hold("fore", "run_up", after_s=10.0, on_hold="stop", bolt=1)

    assert isinstance(hold, HoldAsked)
    assert rig.time_s - before_s <= 10.3
    assert steel.number("bolt.1.turns") == pytest.approx(10.25 * 0.4 - part, abs=0.02)
    assert 0.0 < part < 1.0
    assert rig.do("fore", "run_up", bolt=1).results["turns"] == pytest.approx(18.9, abs=0.1)


def test_a_hold_lets_an_action_finish_that_is_nearly_done() -> None:
    """Asked to finish with under two seconds left, the action ends well."""
    rig = rig_with_spinner()
    needed_s = 1.0 + 3.0 / 0.5

    late = rig.hold("fore", "index_socket", after_s=needed_s - 1.5, on_hold="finish", by=3.0)
    early = rig.hold("fore", "index_socket", after_s=1.0, on_hold="finish", by=3.0)

    assert not isinstance(late, HoldAsked)
    assert isinstance(early, HoldAsked)
    assert rig.arms["fore"].socket_rad == 3.0


@pytest.mark.parametrize(
    ("action", "takes", "reason"),
    [
        ("fly", {}, "unknown to an arm"),
        ("pull", {"bolt": 1, "torque": 900.0}, "needs the wrench"),
        ("locate_hole", {}, "parameter 'bolt' is missing"),
        ("locate_hole", {"bolt": 9}, "must be a bolt from 1 to 8"),
        ("locate_hole", {"bolt": True}, "must be a number"),
        ("locate_hole", {"bolt": 1, "hard": True}, "parameter 'hard' is unknown"),
        ("change_tool", {"tool": "hammer"}, "must be one of gripper, spinner, wrench"),
        ("pick_bolt", {"bolt": 5}, "served by aft"),
        ("place_bolt", {"bolt": 1}, "not in the fork"),
        ("run_up", {"bolt": 1}, "not in its hole"),
        ("index_socket", {"by": math.nan}, "must be a number"),
    ],
)
def test_what_an_arm_cannot_take_up_is_unfit_before_anything_moves(
    action: str, takes: dict[str, bool | int | float | str], reason: str
) -> None:
    """A refusal must leave the world as it was."""
    rig = rig_with_spinner()
    facts = dict(rig.arms["fore"].steel.facts)

    with pytest.raises(Unfit, match=reason):
        rig.begin("fore", action, **takes)

    assert dict(rig.arms["fore"].steel.facts) == facts
