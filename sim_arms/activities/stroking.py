"""Drive a hydraulic wrench through its strokes: what the nut does, and what the tool feels.

Within a stroke the tool first winds up; the nut sticks until its static torque is reached, then
turns along its own line (tightening up, loosening down). The other side's changes of load are
taken in at the start of each stroke, and the own one is told at its end.

Units: SI.
"""

import math
from collections.abc import Generator
from dataclasses import dataclass, field
from typing import Literal

from coordinator.wire.messages import Trace
from sim_arms.activities.bench import BRAKE_S, RELIEVE_S, Bench, Course, Steps
from sim_arms.activity import ActivityFault, HoldAsked, Wait
from sim_arms.causes import parameter
from sim_arms.physics.bolt import TurningLine

STEP_S = 0.2
"""Between two reports of what the tool feels; two samples of the trace."""
SAMPLE_S_MIN = 0.001
"""Least time between two samples; chosen, well below the time in which a valve opens."""
STALL_S = 3.0  # Pressure that has not risen for this long will not; chosen.
GAUGE_SPREAD = 0.003  # Relative, one sigma; chosen.

StrokeEnd = Literal["at_torque", "at_end", "stalled", "slipped", "broken"]


@dataclass(slots=True)
class Recording:
    """The trace as it grows."""

    time_s: list[float] = field(default_factory=list)
    torque_nm: list[float] = field(default_factory=list)
    pressure_pa: list[float] = field(default_factory=list)
    angle_rad: list[float] = field(default_factory=list)

    def trace(self) -> Trace:
        """Return what was recorded so far."""
        return Trace(
            tuple(self.time_s),
            tuple(self.torque_nm),
            tuple(self.pressure_pa),
            tuple(self.angle_rad),
        )


class Drive:
    """One wrench at work on one bolt."""

    def __init__(self, course: Course, bolt: int, torque_nm: float) -> None:
        """Begin with the pump stopped, at angle zero."""
        self.course = course
        self.bench: Bench = course.bench
        self._began_s = self.bench.now_s()
        self.bolt = bolt
        reads = self.bench.factor("gauge_reads_high", "factor")
        self.target_nm = torque_nm / reads
        """True torque at which the reading is the one asked for."""
        self.angle_rad = 0.0
        self.strokes = 0
        self.torque_nm = 0.0
        self.peak_nm = 0.0
        """Highest torque in the stroke now or last driven."""
        self.gauge = reads * (1.0 + self.bench.rng.gauss(0.0, GAUGE_SPREAD))
        self._air = self.bench.causes.acting("air_in_oil", self._began_s, side=self.bench.side)
        self.recording = Recording()
        self._stroke_rad = 0.0
        """Nut angle in the running stroke, not yet in `angle_rad`."""

    def stroke(
        self, line: TurningLine, *, break_nm: float = math.inf, climb_nm: float = math.inf
    ) -> Generator[Wait, None, StrokeEnd]:
        """Drive one stroke.

        Args:
            line: What the nut does in it.
            break_nm: Torque at which the bolt parts, infinite for a sound one.
            climb_nm: Torque above which the drive goes on without the nut, infinite for none.

        Returns:
            How it ended; the nut's angle waits for `settle_stroke`.
        """
        model, drive_rad, stalled_s, moving = self.bench.wrench, 0.0, 0.0, False
        self.strokes += 1
        self.peak_nm = self.torque_nm = self._stroke_rad = 0.0
        if not self.bench.reaction_on:
            # Nothing bears: the wrench swings about the nut instead of turning it.
            yield from self._pass(STEP_S, 0.0, 0.0)
            return "slipped"
        stroke_rad = yield from self._bite()
        if stroke_rad <= 0.0:
            return "at_end"
        slip = self.bench.causes.acting("reaction_slip", self.bench.now_s(), side=self.bench.side)
        slip_nm = math.inf if slip is None else parameter(slip, "torque")
        while True:
            ceiling_nm = min(self.target_nm, model.reachable_nm(self.bench.supply_pa()))
            wanted_rad = min(stroke_rad, drive_rad + model.speed_rad_s * STEP_S)
            moving, angle, torque = self._feel(line, moving, wanted_rad, ceiling_nm)
            if torque >= climb_nm:
                angle = max(self._stroke_rad, line.angle_rad(climb_nm)) if moving else 0.0
                torque = climb_nm
            if torque >= ceiling_nm:
                wanted_rad, angle = self._cut(line, moving, drive_rad, ceiling_nm)
                torque = ceiling_nm
            if torque >= min(slip_nm, break_nm):
                return self._give_way(torque, slipped=torque >= slip_nm)
            halted = torque >= ceiling_nm and ceiling_nm < self.target_nm
            gone_s = STEP_S if halted else max(0.0, wanted_rad - drive_rad) / model.speed_rad_s
            drive_rad = max(drive_rad, wanted_rad)
            yield from self._pass(gone_s + self._air_s(torque), torque, angle)
            if torque >= self.target_nm:
                yield from self._shut_valve(line, moving, drive_rad, stroke_rad)
                return "at_torque"
            stalled_s = stalled_s + STEP_S if halted else 0.0
            if stalled_s >= STALL_S:
                return "stalled"
            if drive_rad >= stroke_rad - 1e-12:
                return "at_end"

    def _bite(self) -> Generator[Wait, None, float]:
        """Run free until the pawl bites, and return what is left of the stroke."""
        model, worn = self.bench.wrench, 0.0
        cause = self.bench.causes.acting("pawl_worn", self.bench.now_s(), side=self.bench.side)
        if cause is not None:
            worn = parameter(cause, "slip")
        free_rad = min(model.stroke_rad, model.backlash_rad + worn)
        yield from self._pass(free_rad / model.speed_rad_s, 0.0, 0.0)
        return model.stroke_rad - free_rad

    def _air_s(self, torque_nm: float) -> float:
        """Return how much longer air in the oil makes a step."""
        if self._air is None:
            return 0.0
        return self.bench.wrench.air_s(parameter(self._air, "share"), self.torque_nm, torque_nm)

    def _shut_valve(
        self, line: TurningLine, moving: bool, drive_rad: float, stroke_rad: float
    ) -> Steps:
        """Stop the oil; a valve that sticks lets the pump go on for a while."""
        bench = self.bench
        cause = bench.causes.acting("valve_sticks", bench.now_s(), side=bench.side)
        if cause is None:
            return
        model, late_s = bench.wrench, parameter(cause, "late")
        end_rad = min(stroke_rad, drive_rad + model.speed_rad_s * late_s)
        most_nm = model.reachable_nm(bench.supply_pa())
        _, angle, torque = self._feel(line, moving, end_rad, most_nm)
        yield from self._pass(late_s, min(torque, most_nm), angle)

    def _feel(
        self, line: TurningLine, moving: bool, drive_rad: float, ceiling_nm: float
    ) -> tuple[bool, float, float]:
        """Return whether the nut moves, its angle, and the torque at an angle of the drive."""
        windup = self.bench.wrench.windup_nm_rad
        wound_nm = windup * drive_rad
        if not moving and wound_nm < line.static_nm:
            return False, 0.0, wound_nm
        if not moving and ceiling_nm <= line.static_nm:
            return False, 0.0, ceiling_nm
        angle = max(self._stroke_rad, line.turned_rad(drive_rad, windup))
        return True, angle, line.torque_nm(angle)

    def _cut(
        self, line: TurningLine, moving: bool, drive_rad: float, ceiling_nm: float
    ) -> tuple[float, float]:
        """Return the drive and nut angles at which the torque comes to the ceiling."""
        windup = self.bench.wrench.windup_nm_rad
        if not moving or line.slope_nm_rad <= 0.0:
            return max(drive_rad, ceiling_nm / windup), self._stroke_rad
        angle = max(self._stroke_rad, line.angle_rad(ceiling_nm))
        return max(drive_rad, angle + ceiling_nm / windup), angle

    def _give_way(self, torque_nm: float, *, slipped: bool) -> StrokeEnd:
        """End a stroke in which the reaction arm slipped off or the bolt parted."""
        self.peak_nm = max(self.peak_nm, torque_nm)
        if not slipped:
            return "broken"
        self.bench.causes.use("reaction_slip", self.bench.now_s(), side=self.bench.side)
        self.bench.reaction_on = 0
        return "slipped"

    def _pass(self, duration_s: float, torque_nm: float, angle_rad: float) -> Steps:
        """Let a step of the stroke pass, and sample it twice."""
        before_nm, before_rad = self.torque_nm, self._stroke_rad
        started_s = self.bench.now_s()
        try:
            yield self._felt(duration_s, torque_nm, self.angle_rad + angle_rad)
        except HoldAsked as hold:
            share = (self.bench.now_s() - started_s) / duration_s if duration_s > 0.0 else 1.0
            share = min(1.0, max(0.0, share))
            self._stroke_rad = before_rad + share * (angle_rad - before_rad)
            self.torque_nm = before_nm + share * (torque_nm - before_nm)
            hold.evidence["angle_rad"] = self.angle_rad + self._stroke_rad
            hold.evidence["torque_nm"] = self.torque_nm
            raise
        half_rad = 0.5 * (before_rad + angle_rad)
        self._sample(started_s + 0.5 * duration_s, 0.5 * (before_nm + torque_nm), half_rad)
        self._sample(started_s + duration_s, torque_nm, angle_rad)
        self._stroke_rad, self.torque_nm = angle_rad, torque_nm
        self.peak_nm = max(self.peak_nm, torque_nm)

    def _felt(self, duration_s: float, torque_nm: float, angle_rad: float) -> Wait:
        pressure = self.bench.wrench.pressure_pa(torque_nm)
        return Wait(duration_s, torque_nm * self.gauge, pressure * self.gauge, angle_rad)

    def _sample(self, at_s: float, torque_nm: float, stroke_rad: float) -> None:
        record = self.recording
        time_s = round(at_s - self._began_s, 4)
        if record.time_s:
            # A valve opens in a moment, never in none: two samples are never of one instant.
            time_s = max(time_s, round(record.time_s[-1] + SAMPLE_S_MIN, 4))
        record.time_s.append(time_s)
        record.torque_nm.append(torque_nm * self.gauge)
        record.pressure_pa.append(self.bench.wrench.pressure_pa(torque_nm) * self.gauge)
        record.angle_rad.append(self.angle_rad + stroke_rad)

    @property
    def stroke_turned_rad(self) -> float:
        """How far the nut turned in the stroke that is not yet settled."""
        return self._stroke_rad

    def settle_stroke(self) -> float:
        """Count the stroke's angle as turned, and return it."""
        turned, self._stroke_rad = self._stroke_rad, 0.0
        self.angle_rad += turned
        return turned

    def keep(self, duration_s: float, lost_nm_s: float = 0.0) -> Steps:
        """Hold the pressure with the valve shut, losing some of it with time."""
        begin_nm = self.torque_nm
        left_s = duration_s
        while left_s > 1e-9:
            step_s = min(STEP_S, left_s)
            left_s -= step_s
            end_nm = max(0.0, begin_nm - lost_nm_s * (duration_s - left_s))
            ceiling = self.bench.wrench.reachable_nm(self.bench.supply_pa())
            yield from self._pass(step_s, min(end_nm, ceiling), self._stroke_rad)

    def swing_back(self) -> Steps:
        """Let the ratchet return; the tool feels nothing meanwhile."""
        self._sample(self.bench.now_s(), 0.0, self._stroke_rad)
        yield Wait(self.bench.wrench.return_s)
        self.torque_nm = 0.0
        self._sample(self.bench.now_s(), 0.0, self._stroke_rad)

    def relieve(self) -> Steps:
        """Stop the pump and let the pressure off."""
        yield Wait(RELIEVE_S, 0.0, 0.0, self.angle_rad)
        self.torque_nm = 0.0
        self._sample(self.bench.now_s(), 0.0, self._stroke_rad)

    def come_to_rest(self, hold: HoldAsked) -> Steps:
        """Stop for a hold: shut the valve at once, or let the pressure off as well.

        Finishing counts as relieving: nobody can tell beforehand that a pull ends within seconds.
        """
        if self.course.on_hold == "stop":
            yield self._felt(BRAKE_S, self.torque_nm, self.angle_rad)
        else:
            yield from self.relieve()
        if self.course.on_hold == "retract":
            yield from self.course.retract()
        hold.trace = self.recording.trace()

    def fault(self, kind: str, torque_nm: float | None = None) -> ActivityFault:
        """Return a fault with what was felt as evidence."""
        felt_nm = (self.peak_nm if torque_nm is None else torque_nm) * self.gauge
        return ActivityFault(
            kind,
            {
                "torque_nm": felt_nm,
                "pressure_pa": self.bench.wrench.pressure_pa(felt_nm),
                "angle_rad": self.angle_rad,
                "strokes": self.strokes,
            },
            self.recording.trace(),
        )
