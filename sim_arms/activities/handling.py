"""Moves with the gripper and without tool: park, tools, cover, pins, lift, index, looking.

Units: SI.
"""

import math

from coordinator.wire.messages import Value
from sim_arms.activities.bench import Bench, Course
from sim_arms.activity import Activity, ActivityFault, Done
from sim_arms.causes import parameter
from sim_arms.physics.camera import Pose, Sight
from sim_arms.physics.socket import SIXTH_RAD

RELEASE_S = 10.0
LOCK_S = 8.0
COUPLE_S = 2.0
"""From the lock to oil at the tool; chosen."""
OILED = ("spinner", "wrench")
GRASP_S = 4.0
LOOK_S = 3.0
STEP_S = 4.0  # Up or down along the tool's axis.
PIN_TURNS_PER_S = 0.25
INDEX_RAD_S = 0.5
JOINT_BASE_M = 0.3
"""Distance between the marks by which the camera judges the turn of the joint."""


def park(course: Course) -> Activity:
    """Go to the arm's own place, clear of everything."""
    yield from course.travel("park")
    return Done()


def change_tool(course: Course, tool: str) -> Activity:
    """Put the tool into the rack and lock another."""
    bench = course.bench
    if bench.tool == tool:
        yield from course.spend(0.5)
        return Done()
    yield from course.travel("rack")
    if bench.tool:
        yield from course.spend(RELEASE_S)
        _forget_tool(bench)
    yield from course.spend(LOCK_S)
    if bench.causes.use("tool_lock_fails", bench.now_s(), side=bench.side) is not None:
        raise ActivityFault("tool_not_locked", {"tool": tool, "locked": False})
    if tool in OILED:
        # The lock alone would let a tool be lifted that no oil reaches.
        yield from course.spend(COUPLE_S)
        if bench.causes.use("coupling_open", bench.now_s(), side=bench.side) is not None:
            evidence: dict[str, Value] = {"tool": tool, "locked": True, "coupled": False}
            raise ActivityFault("tool_not_coupled", evidence)
    bench.tool = tool
    return Done()


def _forget_tool(bench: Bench) -> None:
    bench.tool = ""
    bench.seated_on = bench.reaction_on = 0
    bench.turned_over = False
    bench.socket_rad = 0.0


def fit_cover(course: Course) -> Activity:
    """Lay the cover over the bore."""
    bench = course.bench
    if not bench.steel.flag("cover"):
        yield from course.travel("rack")
        yield from course.spend(GRASP_S)
        yield from course.travel("bore")
        drop_if_it_slips(bench, "cover")
        yield from course.spend(GRASP_S)
        bench.steel.write("cover", True)
    yield from course.travel("joint")
    return Done()


def take_cover(course: Course) -> Activity:
    """Take the cover off the bore and put it into the rack."""
    bench = course.bench
    if bench.steel.flag("cover"):
        yield from course.travel("bore")
        yield from course.spend(GRASP_S)
        bench.steel.write("cover", False)
        yield from course.travel("rack")
        drop_if_it_slips(bench, "cover")
        yield from course.spend(GRASP_S)
    yield from course.travel("park")
    return Done()


def fit_pin(course: Course, hole: int, turns: float) -> Activity:
    """Bring a guide pin from the rack and turn it into a hole."""
    bench = course.bench
    if bench.steel.flag(f"pin.{hole}"):
        yield from course.spend(1.0)
        return Done()
    yield from course.travel("rack")
    yield from course.spend(GRASP_S)
    yield from course.travel(f"bolt.{hole}")
    drop_if_it_slips(bench, "pin")
    start = bench.steel.thread_start.start(bench.lateral_m(hole), 0.0)
    if start.outcome != "entered" or bench.steel.where(hole) == "hole":
        yield from course.lower(STEP_S)
        raise ActivityFault("never_entered", {"hole": hole, "travel_m": 0.0})
    yield from course.lower(STEP_S + turns / PIN_TURNS_PER_S)
    bench.steel.write(f"pin.{hole}", True)
    return Done()


def take_pin(course: Course, hole: int, turns: float) -> Activity:
    """Turn a guide pin out of a hole and put it into the rack."""
    bench = course.bench
    if not bench.steel.flag(f"pin.{hole}"):
        yield from course.spend(1.0)
        return Done()
    yield from course.travel(f"bolt.{hole}")
    yield from course.lower(STEP_S + turns / PIN_TURNS_PER_S)
    bench.steel.write(f"pin.{hole}", False)
    yield from course.travel("rack")
    drop_if_it_slips(bench, "pin")
    yield from course.spend(GRASP_S)
    return Done()


def drop_if_it_slips(bench: Bench, part: str) -> None:
    """Fault when a cause lets the part slip out of the tool now."""
    if bench.causes.use("gripper_slips", bench.now_s(), side=bench.side) is not None:
        raise ActivityFault("part_dropped", {"part": part})


def lift(course: Course) -> Activity:
    """Raise the tool along its axis; a bolt in the fork comes along unless its thread holds it."""
    bench = course.bench
    yield from course.raise_tool(STEP_S)
    bolt = bench.holding
    if bolt and bench.steel.where(bolt) == "hole":
        if bench.steel.number(f"bolt.{bolt}.turns") > 0.0:
            bench.holding = 0  # The fork gives way.
        else:
            bench.steel.write(f"bolt.{bolt}.where", "tool")
    bench.seated_on = bench.reaction_on = 0
    return Done()


def index_socket(course: Course, by: float) -> Activity:
    """Turn the socket in the air by an angle."""
    yield from course.spend(1.0 + abs(by) / INDEX_RAD_S)
    course.bench.socket_rad += by
    return Done()


def turn_socket(course: Course, bolt: int) -> Activity:
    """Turn the socket to the angle at which the camera saw the hex, upright if it saw none."""
    bench = course.bench
    target = bench.estimates.hexes.get(bolt, 0.0)
    # Always forward, to the next of the six angles at which a socket fits: a socket that was
    # indexed away from a burr does not come back to the same corner.
    apart = (target - bench.socket_rad) % SIXTH_RAD
    yield from course.spend(1.0 + apart / INDEX_RAD_S)
    bench.socket_rad += apart
    return Done()


def locate_joint(course: Course) -> Activity:
    """Look at the joint as a whole: how far it stands off and turned."""
    bench = course.bench
    yield from course.travel("joint")
    yield from course.spend(2.0 * LOOK_S)
    true = bench.true_shift()
    sight = bench.look(true)
    if not sight.trusted:
        raise not_located(sight)
    # The turn is judged over the whole joint, far better than that of one hex.
    spread = bench.camera.noise_m / JOINT_BASE_M / bench.camera.noise_rad
    turn_rad = true.turn_rad + (sight.pose.turn_rad - true.turn_rad) * spread
    pose = Pose(sight.pose.x_m, sight.pose.y_m, turn_rad)
    bench.estimates.joint = pose
    bench.estimates.holes.clear()  # Found before the joint may have moved.
    return Done(
        {
            "shift_m": math.hypot(pose.x_m, pose.y_m),
            "turn_rad": pose.turn_rad,
            "confidence": sight.confidence,
        }
    )


def locate_hole(course: Course, bolt: int) -> Activity:
    """Look at one hole from above it."""
    bench = course.bench
    yield from course.travel(f"bolt.{bolt}")
    yield from course.spend(LOOK_S)
    cause = bench.causes.use("bolt_misplaced", bench.now_s(), side=bench.side, bolt=bolt)
    other = bench.causes.use("mis_detection", bench.now_s(), side=bench.side, bolt=bolt)
    misled = [one for one in (cause, other) if one is not None]
    bias = Pose(
        sum(parameter(one, "off_x") for one in misled),
        sum(parameter(one, "off_y") for one in misled),
    )
    agrees = 1.0 if other is None else parameter(other, "agrees")
    sight = bench.look(Pose(*bench.true_hole_m(bolt)), bias, agrees)
    if not sight.trusted:
        raise not_located(sight)
    bench.estimates.holes[bolt] = sight.pose.x_m, sight.pose.y_m
    return Done({"confidence": sight.confidence})


def locate_bolt(course: Course, bolt: int) -> Activity:
    """Look at a bolt, in the bin or in its hole, for its place and the angle of its hex."""
    bench = course.bench
    in_hole = bench.steel.where(bolt) == "hole"
    yield from course.travel(f"bolt.{bolt}" if in_hole else "bin")
    yield from course.spend(LOOK_S)
    if not (in_hole or is_in_bin(bench, bolt)):
        raise ActivityFault("not_located", {"confidence": 0.0})
    cause = bench.causes.use("hex_angle_wrong", bench.now_s(), side=bench.side, bolt=bolt)
    bias = None if cause is None else Pose(turn_rad=parameter(cause, "off"))
    place = bench.true_hole_m(bolt) if in_hole else bench.steel.bin_offset_m(bolt)
    sight = bench.look(Pose(*place, bench.steel.hex_rad(bolt)), bias)
    if not sight.trusted:
        raise not_located(sight)
    if in_hole:
        bench.estimates.holes[bolt] = sight.pose.x_m, sight.pose.y_m
    else:
        bench.estimates.bins[bolt] = sight.pose.x_m, sight.pose.y_m
    hex_rad = sight.pose.turn_rad % (2.0 * math.pi)
    bench.estimates.hexes[bolt] = hex_rad
    return Done({"hex_angle_rad": hex_rad, "confidence": sight.confidence})


def is_in_bin(bench: Bench, bolt: int) -> bool:
    """Whether the bolt stands in its place in the bin."""
    missing = bench.causes.acting("bolt_missing", bench.now_s(), side=bench.side, bolt=bolt)
    return missing is None and bench.steel.where(bolt) == "bin"


def not_located(sight: Sight) -> ActivityFault:
    """Return the fault of a sight that is not trusted."""
    return ActivityFault("not_located", {"confidence": sight.confidence})
