"""The wrench's tightening: seat, react, pull, confirm, check, lift, turn over.

Units: SI.
"""

import math
from collections.abc import Generator
from dataclasses import dataclass

from coordinator.wire.messages import Value
from sim_arms.activities.bench import Bench, Course, Steps
from sim_arms.activities.spinning import float_down
from sim_arms.activities.stroking import Drive, StrokeEnd
from sim_arms.activity import Activity, ActivityFault, Done, HoldAsked, Wait
from sim_arms.causes import parameter
from sim_arms.physics.bolt import (
    BoltLaw,
    TurningLine,
    advance_turned_m,
    loosening_line,
    tightening_line,
)
from sim_arms.physics.flange import FREE_ADVANCE_M, Grip

REACT_S = 6.0
TURN_OVER_S = 25.0
SETTLE_S = 0.5  # Pressure watched with the valve shut after a pull; chosen.
CONFIRM_S = 2.0
SUNK_SHARE = 0.97  # Pressure below this share of its set point has sunk; chosen.
CONFIRM_TURN_RAD = math.radians(1.0)
STROKES_MAX = 40
IDLE_STROKES = 3  # With slack to take up, one or two may gain nothing; chosen.
GAIN_SHARE = 0.01  # Of the target; less gain in a stroke that turned is none. Chosen.
STATIC_RATIO = 1.04  # Static over kinetic friction of a greased nut; chosen.


def seat_wrench(course: Course, bolt: int) -> Activity:
    """Float the socket down over a hex while turning it."""
    bench = course.bench
    if bench.seated_on == bolt:
        yield from course.spend(1.0)
        return Done()
    yield from float_down(course, bolt)
    bench.seated_on = bolt
    return Done()


def react(course: Course, bolt: int, on: int) -> Activity:
    """Bring the reaction arm onto a neighbour of the bolt."""
    bench = course.bench
    yield from course.spend(REACT_S)
    if bench.steel.where(on) != "hole":
        raise ActivityFault("reaction_lost", {"bolt": bolt, "on": on})
    bench.reaction_on = on
    return Done()


def lift_wrench(course: Course, bolt: int) -> Activity:
    """Swing the reaction arm off and lift the socket from the hex."""
    yield from course.raise_tool(REACT_S)
    course.bench.seated_on = course.bench.reaction_on = 0
    return Done()


def turn_wrench_over(course: Course) -> Activity:
    """Turn the wrench over in its holder, so that it turns the other way."""
    yield from course.spend(TURN_OVER_S)
    bench = course.bench
    bench.turned_over = not bench.turned_over
    return Done()


@dataclass(frozen=True, slots=True)
class Kinds:
    """What an action calls the ways in which a stroke ends badly; it may raise no others."""

    broken: str
    stalled: str
    idle: str


PULL_KINDS = Kinds("bolt_broken", "torque_not_reached", "turns_without_torque")
CONFIRM_KINDS = Kinds("torque_not_held", "torque_not_held", "nut_turned")
CHECK_KINDS = Kinds("torque_not_reached", "torque_not_reached", "nut_turned")


@dataclass(slots=True)
class Nut:
    """The nut under a wrench: its law and line now, and how its turning is told to all."""

    bench: Bench
    bolt: int
    law: BoltLaw
    load_n_yield: float
    """Load beyond which turning gains none: the bolt yields, or its far end turns along."""
    break_nm: float
    climb_nm: float
    """Torque above which the socket climbs over the corners of the hex."""
    holds_nm: float
    """Torque up to which the far end of the stud is held."""

    @classmethod
    def under(cls, bench: Bench, bolt: int) -> "Nut":
        """Return the nut of a bolt, with what the causes do to it."""
        soft = bench.factor("bolt_soft", "share", bolt)
        weak = bench.causes.acting("bolt_weak", bench.now_s(), side=bench.side, bolt=bolt)
        law = bench.steel.law(bolt, bench.factor("friction_high", "factor", bolt))
        share = math.inf if weak is None else parameter(weak, "share")
        break_nm = law.tightening_m * share * bench.steel.yield_n
        climb_nm, holds_nm = (
            math.inf if cause is None else parameter(cause, "torque")
            for cause in (
                bench.causes.acting(name, bench.now_s(), side=bench.side, bolt=bolt)
                for name in ("hex_rounded", "turns_with_nut")
            )
        )
        most_n = min(soft * bench.steel.yield_n, law.load_n(holds_nm))
        return cls(bench, bolt, law, most_n, break_nm, climb_nm, holds_nm)

    @property
    def advance_m(self) -> float:
        """Advance as all know it."""
        return self.bench.steel.number(f"bolt.{self.bolt}.advance_m", FREE_ADVANCE_M)

    def on_line(self) -> TurningLine:
        """Return the line of tightening, from the loads as they are now."""
        return tightening_line(
            self.law,
            self._grip(),
            self.advance_m,
            load_n_yield=self.load_n_yield,
            static_ratio=STATIC_RATIO,
        )

    def back_line(self, static_ratio: float) -> TurningLine:
        """Return the line of loosening, from the loads as they are now."""
        return loosening_line(self.law, self._grip(), self.advance_m, static_ratio=static_ratio)

    def stroke(self, drive: Drive) -> Generator[Wait, None, StrokeEnd]:
        """Drive one stroke on."""
        return drive.stroke(self.on_line(), break_nm=self.break_nm, climb_nm=self.climb_nm)

    def turn(self, angle_rad: float) -> None:
        """Tell that the nut was turned, on (above zero) or back; yield keeps no more load."""
        if angle_rad == 0.0:
            return
        steel, key = self.bench.steel, f"bolt.{self.bolt}"
        grip, by_m = self._grip(), self.law.pitch_m * angle_rad / (2.0 * math.pi)
        advance_m = advance_turned_m(grip, self.advance_m, by_m)
        if angle_rad > 0.0:
            most_m = grip.contact_m + self.load_n_yield / grip.stiffness_n_m
            advance_m = max(self.advance_m, min(advance_m, most_m))
        steel.write(f"{key}.advance_m", advance_m)
        steel.write(f"{key}.hex_rad", (steel.hex_rad(self.bolt) + angle_rad) % (2.0 * math.pi))
        self.bench.socket_rad += angle_rad

    def bed_in(self) -> None:
        """Let what is rough under the nut sink, now that the pressure is off."""
        bench = self.bench
        cause = bench.causes.use("joint_beds_in", bench.now_s(), side=bench.side, bolt=self.bolt)
        if cause is not None:
            sunk_m = self.advance_m - parameter(cause, "sink")
            bench.steel.write(f"bolt.{self.bolt}.advance_m", sunk_m)

    def part(self) -> None:
        """Tell that the bolt broke: it holds nothing any more."""
        self.bench.steel.write(f"bolt.{self.bolt}.broken", True)
        self.bench.steel.write(f"bolt.{self.bolt}.advance_m", FREE_ADVANCE_M)

    def _grip(self) -> Grip:
        return self.bench.steel.grip(self.bolt)


def pull(course: Course, bolt: int, torque: float) -> Activity:
    """Pull stroke by stroke until the pressure comes to its set point and stands."""
    nut, drive = Nut.under(course.bench, bolt), Drive(course, bolt, torque)
    try:
        yield from _pull_to_torque(nut, drive, PULL_KINDS)
        yield from drive.keep(SETTLE_S, leak_nm_s(course.bench, torque))
        if drive.torque_nm < SUNK_SHARE * drive.target_nm:
            leaks, sunk_nm = leak_nm_s(course.bench, torque) > 0.0, drive.torque_nm
            yield from drive.relieve()
            raise drive.fault("leak" if leaks else "torque_not_reached", sunk_nm)
        yield from drive.relieve()
        nut.bed_in()
    except HoldAsked as hold:
        nut.turn(drive.settle_stroke())
        yield from drive.come_to_rest(hold)
        raise
    return Done({**pulled(drive), "strokes": drive.strokes}, drive.recording.trace())


def _pull_to_torque(nut: Nut, drive: Drive, kinds: Kinds) -> Steps:
    """Stroke after stroke; a nut that turns on without torque is found in a few of them."""
    idle, before_nm = 0, 0.0
    for _ in range(STROKES_MAX):
        end = yield from nut.stroke(drive)
        nut.turn(drive.settle_stroke())
        yield from _fault_if_bad(nut, drive, end, kinds)
        if end == "at_torque":
            return
        gained = drive.peak_nm - before_nm > GAIN_SHARE * drive.target_nm
        idle = 0 if gained else idle + 1
        before_nm = drive.peak_nm
        if idle == IDLE_STROKES:
            yield from drive.relieve()
            raise drive.fault(kinds.idle)
        yield from drive.swing_back()
    raise drive.fault("torque_not_reached")


def _fault_if_bad(nut: Nut, drive: Drive, end: StrokeEnd, kinds: Kinds) -> Steps:
    """Let the pressure off and fault where a stroke ended badly."""
    if end == "broken":
        nut.part()
    bad = {"broken": kinds.broken, "slipped": "reaction_lost", "stalled": kinds.stalled}
    if end in bad:
        yield from drive.relieve()
        raise drive.fault(bad[end])


def leak_nm_s(bench: Bench, torque_nm: float) -> float:
    """Return how fast a leak takes torque away."""
    leak = bench.causes.acting("leak", bench.now_s(), side=bench.side)
    return 0.0 if leak is None else parameter(leak, "share_per_s") * torque_nm


def pulled(drive: Drive) -> dict[str, Value]:
    """Return torque, pressure and angle as the tool read them."""
    torque_nm = drive.peak_nm * drive.gauge
    return {
        "torque_nm": torque_nm,
        "pressure_pa": drive.bench.wrench.pressure_pa(torque_nm),
        "angle_rad": drive.angle_rad,
    }


def confirm_torque(course: Course, bolt: int, torque: float) -> Activity:
    """Hold the pressure at its set point, then stroke once more; the nut must stand."""
    nut, drive = Nut.under(course.bench, bolt), Drive(course, bolt, torque)
    try:
        yield from _stroke_once(nut, drive)
        yield from drive.keep(CONFIRM_S, leak_nm_s(course.bench, torque))
        if drive.torque_nm < SUNK_SHARE * drive.target_nm:
            sunk_nm = drive.torque_nm
            yield from drive.relieve()
            raise drive.fault("torque_not_held", sunk_nm)
        yield from drive.swing_back()
        yield from _stroke_once(nut, drive)
        yield from drive.relieve()
    except HoldAsked as hold:
        nut.turn(drive.settle_stroke())
        yield from drive.come_to_rest(hold)
        raise
    if drive.angle_rad >= CONFIRM_TURN_RAD:
        raise drive.fault("nut_turned")
    return Done(pulled(drive), drive.recording.trace())


def _stroke_once(nut: Nut, drive: Drive) -> Steps:
    """One stroke that must come to torque; a nut that turns all through it has turned."""
    end = yield from nut.stroke(drive)
    nut.turn(drive.settle_stroke())
    yield from _fault_if_bad(nut, drive, end, CONFIRM_KINDS)
    if end == "at_end":
        yield from drive.relieve()
        raise drive.fault("nut_turned")


def check_torque(course: Course, bolt: int, torque: float, angle_max: float) -> Activity:
    """Pull to the torque once more; the nut must turn no further than the angle allowed."""
    nut, drive = Nut.under(course.bench, bolt), Drive(course, bolt, torque)
    try:
        yield from _pull_to_torque(nut, drive, CHECK_KINDS)
        yield from drive.relieve()
    except HoldAsked as hold:
        nut.turn(drive.settle_stroke())
        yield from drive.come_to_rest(hold)
        raise
    if drive.angle_rad > angle_max:
        raise drive.fault("nut_turned")
    return Done(pulled(drive), drive.recording.trace())
