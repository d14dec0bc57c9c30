"""The spinner's actions: pick a bolt, place it, run it up, let it go, back it off or out, stow it.

Units: SI; turns for threads.
"""

import math

from coordinator.wire.messages import Value
from sim_arms.activities.bench import Bench, Course, Steps
from sim_arms.activities.handling import GRASP_S, STEP_S, is_in_bin
from sim_arms.activity import Activity, ActivityFault, Done, HoldAsked
from sim_arms.causes import Cause, parameter
from sim_arms.physics.flange import FREE_ADVANCE_M
from sim_arms.physics.socket import SIXTH_RAD, Burr
from sim_arms.physics.thread import RunDown, Start, pick_up_turns

RUN_TURNS_PER_S = 0.4
BACK_TURNS_PER_S = 0.4
SPINNER_STOP_NM = 200.0
"""Torque at which the spinner stops; chosen below what its tool may give."""
SPINNER_STOP_SHARE = 0.15
"""The same for small bolts, as a share of the torque at half yield; chosen."""
SEAT_REACH_M = 3.0e-3  # Lateral error that a floating socket takes up over a hex; chosen.
FLOAT_RAD_S = 0.1  # Chosen: slow enough to drop within the play of the socket.
PICK_REACH_M = 6.0e-3  # Lateral error that the compliant head takes up over a bolt; chosen.
LEAN_SPREAD_RAD = 0.003  # Chosen: a fork holds a bolt upright within a few millimetres per metre.
SHED_SHARE = 0.6  # Swarf that falls out when a thread is backed off; chosen.
WORN_SHARE = 0.4  # Of a burr on the thread, worn off each time it is backed off; chosen.
GALLED_BY = 1.5  # How much worse backing off makes a thread that galls; chosen.
SWITCH_TRAVEL_M = 3.0e-3  # Of the compliant head, at which its travel switch moves; chosen.
PATIENCE_S = 2.0  # Turning without any travel before the head gives up.


def find_burr(bench: Bench, bolt: int) -> Burr | None:
    """Return the burr on a hex as it meets this socket, None without one.

    Where a case does not say which corner, it is the one that the socket meets first.
    """
    cause = bench.causes.acting("burr", bench.now_s(), side=bench.side, bolt=bolt)
    if cause is None:
        return None
    key = f"bolt.{bolt}.burr_corner_{bench.tool}"  # Each socket has its own tight corner.
    corner = int(parameter(cause, "corner"))
    if corner < 0:
        steel = bench.steel
        first = steel.hex_fit.first_met(bench.socket_rad, steel.hex_rad(bolt))
        corner = int(steel.number(key, first % 6))
        steel.write(key, corner)
    return Burr(parameter(cause, "height"), corner)


def float_down(course: Course, bolt: int) -> Steps:
    """Float the socket down over a bolt in its hole while turning it forward.

    Raises:
        ActivityFault: It stands on the hex or beside it; it has turned to where it was caught.
    """
    bench, steel = course.bench, course.bench.steel
    yield from course.travel(f"bolt.{bolt}")
    hex_rad = steel.hex_rad(bolt)
    burr = find_burr(bench, bolt)
    turned = steel.hex_fit.floats_down(bench.socket_rad, hex_rad, burr)
    if steel.where(bolt) != "hole" or bench.lateral_m(bolt) > SEAT_REACH_M:
        yield from course.lower(STEP_S + SIXTH_RAD / FLOAT_RAD_S)
        raise ActivityFault("socket_not_seated", {"bolt": bolt})
    if math.isnan(turned):
        yield from course.lower(STEP_S + SIXTH_RAD / FLOAT_RAD_S)
        caught = steel.hex_fit.first_met(bench.socket_rad, hex_rad)
        bench.socket_rad = max(bench.socket_rad, hex_rad + caught * SIXTH_RAD)
        raise ActivityFault("socket_not_seated", {"bolt": bolt})
    yield from course.lower(STEP_S + turned / FLOAT_RAD_S)
    bench.socket_rad += turned


def spinner_stop_nm(bench: Bench, bolt: int) -> float:
    """Return the torque at which the spinner stops on a bolt of this size."""
    half = bench.steel.law(bolt).tightening_nm(0.5 * bench.steel.yield_n)
    return min(SPINNER_STOP_NM, SPINNER_STOP_SHARE * half)


def pick_bolt(course: Course, bolt: int) -> Activity:
    """Lower the socket over a bolt in the bin, close the fork, take the bolt out."""
    bench, steel = course.bench, course.bench.steel
    if bench.holding == bolt:
        yield from course.spend(1.0)
        return Done()
    yield from course.travel("bin")
    yield from course.lower(STEP_S)
    present = is_in_bin(bench, bolt)
    if present and not _socket_drops(bench, bolt):
        raise ActivityFault("socket_not_seated", {"bolt": bolt})
    yield from course.spend(GRASP_S)
    slips = present and bench.causes.use("fork_slips", bench.now_s(), side=bench.side) is not None
    if slips or not present:
        raise ActivityFault("bolt_not_held", {"bolt": bolt})
    bench.holding = bolt
    steel.write(f"bolt.{bolt}.where", "tool")
    return Done()


def _socket_drops(bench: Bench, bolt: int) -> bool:
    true = bench.steel.bin_offset_m(bolt)
    believed = bench.estimates.bins.get(bolt, (0.0, 0.0))
    if math.hypot(true[0] - believed[0], true[1] - believed[1]) > PICK_REACH_M:
        return False
    burr = find_burr(bench, bolt)
    return bench.steel.hex_fit.drops(bench.socket_rad, bench.steel.hex_rad(bolt), burr)


def _drop_if_it_slips(bench: Bench, bolt: int) -> None:
    """Fault when a cause lets the bolt slip out of the fork now; it falls to the floor."""
    if bench.causes.use("gripper_slips", bench.now_s(), side=bench.side) is not None:
        bench.holding = 0
        bench.steel.write(f"bolt.{bolt}.where", "floor")
        raise ActivityFault("part_dropped", {"bolt": bolt})


def place_bolt(course: Course, bolt: int) -> Activity:
    """Carry the bolt to its hole and set it down into it, as far as it goes without turning."""
    bench, steel = course.bench, course.bench.steel
    yield from course.travel(f"bolt.{bolt}")
    if steel.where(bolt) != "hole":
        _drop_if_it_slips(bench, bolt)
    yield from course.lower(STEP_S)
    if steel.number(f"bolt.{bolt}.turns") <= 0.0:
        lean = abs(bench.rng.gauss(0.0, LEAN_SPREAD_RAD))
        cause = bench.causes.use("crossed_start", bench.now_s(), side=bench.side, bolt=bolt)
        steel.write(f"bolt.{bolt}.lean_rad", lean + (parameter(cause, "lean") if cause else 0.0))
        steel.write(f"bolt.{bolt}.lateral_m", bench.lateral_m(bolt))
    bench.holding = bolt
    steel.write(f"bolt.{bolt}.where", "hole")
    return Done()


def run_up(course: Course, bolt: int) -> Activity:
    """Turn the bolt in until the torque stops the spinner; the travel switch tells an entry."""
    bench, steel = course.bench, course.bench.steel
    key = f"bolt.{bolt}"
    start = _start(bench, bolt)
    if start.outcome == "never_entered":
        yield from course.spend(PATIENCE_S)
        raise ActivityFault("never_entered", {"bolt": bolt, "travel_m": 0.0})
    stop_nm = spinner_stop_nm(bench, bolt)
    if start.outcome == "crossed":
        yield from course.spend(PATIENCE_S)
        steel.write(f"{key}.crossed", True)
        raise ActivityFault("cross_thread", {"turns": 0.25, "torque_nm": stop_nm})
    began = steel.number(f"{key}.turns")
    if began <= 0.0:
        yield from _find_first_thread(course, bolt)
    stall = run_down(bench, bolt).stalls_at(stop_nm, began)
    end = max(began, min(start.stall_turns, stall, steel.shoulder_turns))
    switch_turns = SWITCH_TRAVEL_M / steel.config.pitch_m
    if began < switch_turns < end and _switch_sticks(bench):
        yield from _turning(course, bolt, switch_turns, RUN_TURNS_PER_S)
        yield from course.spend(PATIENCE_S)
        raise ActivityFault("never_entered", {"bolt": bolt, "travel_m": 0.0})
    yield from _turning(course, bolt, end, RUN_TURNS_PER_S)
    if end < steel.shoulder_turns - 1e-9:
        travel_m = end * steel.config.pitch_m
        stalled: dict[str, Value] = {"turns": end, "torque_nm": stop_nm, "travel_m": travel_m}
        raise ActivityFault("thread_stalled", stalled)
    yield from course.spend(1.0)
    torque_nm = stop_nm * (1.0 + bench.rng.gauss(0.0, 0.01))
    _snug(bench, bolt, torque_nm)
    turns = steel.shoulder_turns + bench.rng.gauss(0.0, 0.02)
    return Done({"turns": turns, "torque_nm": torque_nm})


def _start(bench: Bench, bolt: int) -> Start:
    """How this bolt starts, or how it has started."""
    steel, key = bench.steel, f"bolt.{bolt}"
    if steel.flag(f"pin.{bolt}"):
        return Start("never_entered", 0.0)
    if steel.flag(f"{key}.crossed"):
        return Start("crossed", 0.0)
    return steel.thread_start.start(
        steel.number(f"{key}.lateral_m"), steel.number(f"{key}.lean_rad")
    )


def _find_first_thread(course: Course, bolt: int) -> Steps:
    """Turn the bolt until its thread finds that of the hole; it does not sink meanwhile."""
    steel = course.bench.steel
    part = pick_up_turns(steel.hex_rad(bolt), steel.thread_rad(bolt))
    yield from course.spend(part / RUN_TURNS_PER_S)
    steel.write(f"bolt.{bolt}.hex_rad", steel.thread_rad(bolt))


def _switch_sticks(bench: Bench) -> bool:
    return bench.causes.use("travel_switch_stuck", bench.now_s(), side=bench.side) is not None


def run_down(bench: Bench, bolt: int) -> RunDown:
    """Return the torque that the thread of a bolt takes, with what the causes do to it."""
    steel, key = bench.steel, f"bolt.{bolt}"

    def acting(name: str) -> Cause | None:
        return bench.causes.acting(name, bench.now_s(), side=bench.side, bolt=bolt)

    climbs = []
    for name, left in (("swarf_in_thread", "swarf_left"), ("galling", "galled")):
        if (cause := acting(name)) is not None:
            grows_nm = steel.number(f"{key}.{left}", 1.0) * parameter(cause, "torque_per_turn")
            climbs.append((parameter(cause, "turns_in"), grows_nm))
    burr = acting("thread_burr")
    peak_nm = 0.0 if burr is None else parameter(burr, "torque")
    burr_nm = peak_nm * steel.number(f"{key}.burr_left", 1.0)
    return RunDown(steel.law(bolt).running_nm, burr_nm, tuple(climbs))


def _turning(course: Course, bolt: int, turns_end: float, turns_per_s: float) -> Activity:
    """Turn a bolt to a count of turns; a hold leaves it where it has got to."""
    bench, key = course.bench, f"bolt.{bolt}.turns"
    began, started_s = bench.steel.number(key), bench.now_s()
    span = turns_end - began
    try:
        yield from course.spend(abs(span) / turns_per_s)
    except HoldAsked as hold:
        done = min(abs(span), (bench.now_s() - started_s) * turns_per_s)
        _turn_to(bench, bolt, began + math.copysign(done, span))
        hold.evidence["turns"] = bench.steel.number(key)
        raise
    _turn_to(bench, bolt, turns_end)
    return Done()


def _turn_to(bench: Bench, bolt: int, turns: float) -> None:
    """Write how far a bolt is turned in, and the angle of its hex with it."""
    steel, key = bench.steel, f"bolt.{bolt}"
    by_rad = 2.0 * math.pi * (turns - steel.number(f"{key}.turns"))
    steel.write(f"{key}.hex_rad", (steel.hex_rad(bolt) + by_rad) % (2.0 * math.pi))
    steel.write(f"{key}.turns", turns)
    if turns < steel.shoulder_turns:
        steel.write(f"{key}.advance_m", FREE_ADVANCE_M)


def _snug(bench: Bench, bolt: int, torque_nm: float) -> None:
    """Press the shoulder down with the spinner's torque; a nut already tighter stays."""
    steel = bench.steel
    load_n = steel.law(bolt, bench.factor("friction_high", "factor", bolt)).load_n(torque_nm)
    if steel.load_n(bolt) < load_n:
        steel.write(f"bolt.{bolt}.advance_m", steel.advance_for(bolt, load_n))


def let_go(course: Course, bolt: int) -> Activity:
    """Open the fork and lift off."""
    yield from course.spend(GRASP_S)
    if course.bench.holding == bolt:
        course.bench.holding = 0
    yield from course.raise_tool(STEP_S)
    return Done()


def back_off(course: Course, bolt: int, turns: float) -> Activity:
    """Turn the bolt back by some turns, or as far as its thread goes."""
    bench, steel = course.bench, course.bench.steel
    began = steel.number(f"bolt.{bolt}.turns")
    yield from _turning(course, bolt, max(0.0, began - turns), BACK_TURNS_PER_S)
    yield from course.spend(1.0)
    steel.write(f"bolt.{bolt}.crossed", False)
    for cause, left, share in (
        ("swarf_in_thread", "swarf_left", 1.0 - SHED_SHARE),
        ("thread_burr", "burr_left", 1.0 - WORN_SHARE),
        ("galling", "galled", GALLED_BY),
    ):
        if bench.causes.acting(cause, bench.now_s(), side=bench.side, bolt=bolt):
            key = f"bolt.{bolt}.{left}"
            steel.write(key, steel.number(key, 1.0) * share)
    return Done()


def back_out(course: Course, bolt: int) -> Activity:
    """Float the socket down over a bolt in its hole and turn it out of its thread."""
    bench, steel = course.bench, course.bench.steel
    yield from float_down(course, bolt)
    began = steel.number(f"bolt.{bolt}.turns")
    law = steel.law(bolt, bench.factor("friction_high", "factor", bolt))
    needed_nm = law.loosening_nm(steel.load_n(bolt))
    if needed_nm > spinner_stop_nm(bench, bolt):
        yield from course.spend(PATIENCE_S)
        raise ActivityFault("thread_stalled", {"turns": 0.0, "torque_nm": needed_nm})
    bench.holding = bolt
    yield from _turning(course, bolt, 0.0, BACK_TURNS_PER_S)
    return Done({"turns": began + bench.rng.gauss(0.0, 0.02)})


def stow_bolt(course: Course, bolt: int) -> Activity:
    """Carry a bolt that is out of its thread into its place in the bin."""
    bench, steel = course.bench, course.bench.steel
    yield from course.raise_tool(STEP_S)
    steel.write(f"bolt.{bolt}.where", "tool")
    yield from course.travel("bin")
    _drop_if_it_slips(bench, bolt)
    yield from course.lower(GRASP_S)
    bench.holding = 0
    steel.write(f"bolt.{bolt}.where", "bin")
    return Done()
