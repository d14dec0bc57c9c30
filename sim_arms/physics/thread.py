"""Decide how a bolt starts in its thread, from how far off and how askew it stands.

Units: metre, radian, turns.
"""

import math
from dataclasses import dataclass
from typing import Literal

StartOutcome = Literal["entered", "never_entered", "stalled", "crossed"]

THREAD_DEPTH_RATIO = 0.6134
"""Depth of an external 60 degree thread over its pitch: 17/24 of the height of the triangle."""


@dataclass(frozen=True, slots=True)
class Start:
    """How a thread starts."""

    outcome: StartOutcome
    stall_turns: float = math.inf
    """Turns after which it binds, infinite when it does not."""


@dataclass(frozen=True, slots=True)
class ThreadStart:
    """Geometry of a bolt tip and the hole that it goes into."""

    pitch_m: float
    major_diameter_m: float
    hole_clearance_m: float
    """Radial, between the bolt and the plain hole above the thread."""
    chamfer_m: float
    """Radial width of the lead-in beyond the thread's own depth."""

    @property
    def capture_m(self) -> float:
        """Lateral error up to which the lead-in centres the tip."""
        return THREAD_DEPTH_RATIO * self.pitch_m + self.chamfer_m

    @property
    def standing_m(self) -> float:
        """Lateral error beyond which the tip stands on the face beside the hole."""
        return self.capture_m + self.hole_clearance_m

    @property
    def crossing_rad(self) -> float:
        """Lean at which the far flank catches the next turn: half a pitch over the diameter."""
        return math.atan2(0.5 * self.pitch_m, self.major_diameter_m)

    def start(self, lateral_m: float, lean_rad: float) -> Start:
        """Return how the thread starts.

        Args:
            lateral_m: Distance between the axes of bolt and hole, not negative.
            lean_rad: Angle between the axes, not negative.
        """
        if lateral_m > self.standing_m:
            return Start("never_entered", 0.0)
        if lean_rad > self.crossing_rad:
            return Start("crossed", 0.0)
        if lateral_m > self.capture_m:
            # The further it bears on the wall, the sooner it binds; 0.5 to 1.5 turns, chosen.
            room = (self.standing_m - lateral_m) / self.hole_clearance_m
            return Start("stalled", 0.5 + room)
        return Start("entered")


@dataclass(frozen=True, slots=True)
class RunDown:
    """Torque that a thread takes while it is run in without load, over the turns."""

    running_nm: float
    """Prevailing torque of a sound, oiled thread."""
    burr_nm: float = 0.0
    """Peak that a burr on the first thread adds, highest at half a turn, gone after one."""
    climbs: tuple[tuple[float, float], ...] = ()
    """(turn from which it grows, torque for each turn beyond): swarf, galling."""

    def torque_nm(self, turns: float) -> float:
        """Return the torque at a count of turns."""
        burr_nm = self.burr_nm * max(0.0, 1.0 - abs(turns - 0.5) / 0.5)
        return self.running_nm + burr_nm + sum(s * max(0.0, turns - t) for t, s in self.climbs)

    def stalls_at(self, stop_nm: float, began: float = 0.0) -> float:
        """Return the turns at which the torque first comes to `stop_nm`, infinite for never.

        Args:
            stop_nm: Torque at which the spinner stops.
            began: Turns at which it begins.
        """
        # The torque runs straight between these turns, so each piece has one crossing at most.
        bends = sorted({began, 0.5, 1.0, *(turn for turn, _ in self.climbs)})
        turns = [turn for turn in bends if turn >= began]
        for low, high in zip(turns, [*turns[1:], None], strict=True):
            low_nm = self.torque_nm(low)
            if low_nm >= stop_nm:
                return low
            slope = self.torque_nm(low + 1.0) - low_nm if high is None else 0.0
            if high is not None and self.torque_nm(high) >= stop_nm:
                slope = (self.torque_nm(high) - low_nm) / (high - low)
            if slope > 0.0:
                return low + (stop_nm - low_nm) / slope
        return math.inf


def pick_up_turns(bolt_rad: float, hole_rad: float) -> float:
    """Return the part of a turn until the first thread of a bolt finds that of the hole.

    Args:
        bolt_rad: Angle at which the bolt's thread begins.
        hole_rad: Angle at which the hole's thread begins; the bolt turns forward to it.
    """
    return ((hole_rad - bolt_rad) % (2.0 * math.pi)) / (2.0 * math.pi)


def turns_to_shoulder(engagement_m: float, pitch_m: float) -> float:
    """Return the turns from the first thread to the shoulder of a single-start thread."""
    return engagement_m / pitch_m
