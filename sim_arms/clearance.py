"""How near the arms come to each other, to the string and to the table, over a whole run.

The time is walked in steps that cannot miss a nearer approach: no part of an arm moves faster than
`PART_SPEED_M_S`, so a gap that is wider than the least one by so much needs so long to close.

Units: metre, second.
Keeps: the least gap told is at most a centimetre, or a twentieth of itself, above the true one.
"""

import math
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from sim_arms.activities.bench import Bench, HoistBench
from sim_arms.physics.arm_chain import ArmChain, Point
from sim_arms.physics.motion import Way
from sim_arms.physics.volumes import Rod, gap_at_least_m, rods_gap_m
from sim_arms.steel import SteelConfig

WITHIN_M, WITHIN_SHARE = 0.01, 0.05
PART_SPEED_M_S = 0.6
"""No part of an arm moves faster while its tool does 0.3 m/s (checked in the tests)."""
COLUMN_M, UPPER_M, FORE_M, HAND_M = 0.25, 0.14, 0.08, 0.07
"""Half the width of each part of an arm; chosen."""
WALL_M = 0.015
"""Of a socket, beyond the corners of its hex; chosen."""
SOCKET_M = 0.35
"""Length of the slim lower part of a tool; above it the crank leads out to the hand; chosen."""
TABLE_M, TABLE_HEIGHT_M = 0.12, 0.7
"""The hang-off table: how far it reaches beyond the bolts, and its upper edge; chosen."""
STRING_TOP_M = 8.0
LOW_M = {"landed": 0.9, "held_by_hoist": 0.9, "on_pins": 2.6, "near": 4.0, "hanging": 4.0}
"""Height of the lower end of the string by the word of the floor; chosen, with long guide pins."""


@dataclass(frozen=True, slots=True)
class Nearest:
    """The least gap of a run, and where it was."""

    gap_m: float = math.inf
    at_s: float = 0.0
    first: str = ""
    second: str = ""


def least_clearance(
    arms: Sequence[Bench], hoist: HoistBench, end_s: float
) -> tuple[Nearest, Nearest]:
    """Return the least gap of a run between the arms, and of any arm to string and table.

    Args:
        arms: The benches of both arms, with the ways that they went.
        hoist: With where the string was.
        end_s: Until when.
    """
    config = arms[0].steel.config
    first, second = (_Track(bench, config) for bench in arms)
    string = _String(hoist, config)
    to_things = Nearest()
    for track in (first, second):
        to_things = _nearest_thing(track, string, end_s, to_things)
    return _nearest_arms(first, second, end_s), to_things


def _nearest_arms(first: "_Track", second: "_Track", end_s: float) -> Nearest:
    """Walk the whole time; where both rest, nothing changes until one of them moves."""
    best, at_s = Nearest(), 0.0
    changes_s = sorted({*first.changes_s, *second.changes_s})
    while at_s <= end_s:
        # No part of an arm is further in than its tool (checked in the tests).
        apart_m = abs(first.point(at_s)[0] - second.point(at_s)[0])
        near = Nearest(apart_m - first.slim_m - second.slim_m)
        if near.gap_m <= best.gap_m:
            near = _rods_gap(first.rods(at_s), second.rods(at_s))
        if near.gap_m < best.gap_m:
            best = replace(near, at_s=at_s)
        moving = first.moves(at_s) + second.moves(at_s)
        if moving:
            spare_m = near.gap_m - best.gap_m + _within_m(best)
            at_s += spare_m / (PART_SPEED_M_S * moving)
        else:
            index = bisect_right(changes_s, at_s)
            at_s = changes_s[index] if index < len(changes_s) else math.inf
    return best


def _within_m(best: Nearest) -> float:
    return max(WITHIN_M, WITHIN_SHARE * best.gap_m)


def _rods_gap(first: Sequence[Rod], second: Sequence[Rod]) -> Nearest:
    best = Nearest()
    for one in first:
        for other in second:
            if gap_at_least_m(one, other) < best.gap_m:
                gap_m = rods_gap_m(one, other)
                if gap_m < best.gap_m:
                    best = Nearest(gap_m, 0.0, one.name, other.name)
    return best


def _nearest_thing(track: "_Track", string: "_String", end_s: float, best: Nearest) -> Nearest:
    """Walk each way once for each place of the string: an arm goes the same ways many times."""
    seen: dict[tuple[object, str], None] = {}
    for start_s, stop_s, way in track.spans(end_s):
        for from_s, until_s, word in string.spans(start_s, stop_s):
            whole = way is not None and until_s - from_s >= way.duration_s - 1e-6
            # There and back again a tool passes the same points.
            key = (way.corners if way and whole else track.point(from_s), word)
            if key in seen and (whole or way is None):
                continue
            seen[key] = None
            # The table lies lower than any tool goes; it is looked at only where it could matter.
            table, *others = string.things(word)
            at_s = from_s
            while at_s <= until_s:
                near = Nearest(string.gap_at_least_m(track, at_s))
                if near.gap_m < best.gap_m:
                    over = Nearest(track.point(at_s)[2] - TABLE_HEIGHT_M)
                    if over.gap_m < best.gap_m:
                        near = _rods_gap(track.rods(at_s)[2:], [table, *others])
                    else:
                        near = _rods_gap(track.rods(at_s)[2:], others)
                        near = min(near, over, key=lambda one: one.gap_m)
                if near.gap_m < best.gap_m:
                    best = replace(near, at_s=at_s)
                if way is None:
                    break
                at_s += (near.gap_m - best.gap_m + _within_m(best)) / PART_SPEED_M_S
    return best


class _String:
    """Where the string was, and the table."""

    def __init__(self, hoist: HoistBench, config: SteelConfig) -> None:
        begin = "held_by_hoist" if config.begins == "made_up" else ""
        self._words = [(0.0, begin), *hoist.string_low]
        self._config = config

    def spans(self, start_s: float, stop_s: float) -> Iterator[tuple[float, float, str]]:
        """Return the parts of a time in which the string was in one place."""
        ends = [at_s for at_s, _ in self._words[1:]] + [math.inf]
        for (from_s, word), until_s in zip(self._words, ends, strict=True):
            if from_s <= stop_s and until_s > start_s:
                yield max(from_s, start_s), min(until_s, stop_s), word

    def gap_at_least_m(self, track: "_Track", at_s: float) -> float:
        """Return a cheap lower bound of the gap: no part is lower or further in than the tool."""
        point = track.point(at_s)
        in_m = math.copysign(1.0, track.side_x_m) * point[0] - track.slim_m
        return min(point[2] - TABLE_HEIGHT_M, in_m - self._config.pipe_radius_m)

    def things(self, word: str) -> list[Rod]:
        """Return table and string while the string is where a word says."""
        config = self._config
        wide_m = config.bolt_circle_radius_m + TABLE_M
        # A rod with round ends stands for the table: its upper end reaches to the table's edge.
        top_m = TABLE_HEIGHT_M - wide_m
        things = [Rod.between("hang-off table", (0.0, 0.0, -2.0), (0.0, 0.0, top_m), wide_m)]
        radius_m = config.pipe_radius_m
        if word in LOW_M and radius_m > 0.0:
            low_m = LOW_M[word] + radius_m
            things.append(
                Rod.between("string", (0.0, 0.0, low_m), (0.0, 0.0, STRING_TOP_M), radius_m)
            )
        return things


class _Track:
    """Where one arm was, from the ways that it went."""

    def __init__(self, bench: Bench, config: SteelConfig) -> None:
        self._side = bench.side
        self._chain: ArmChain = bench.steel.chains[bench.side]
        self._motions = bench.motions
        self._starts_s = [motion.start_s for motion in bench.motions]
        self._home = bench.steel.layout.point(bench.side, "park")
        self.side_x_m = self._chain.base_x_m
        self.slim_m = config.across_flats_m / math.sqrt(3.0) + WALL_M
        self._kept: tuple[Point, tuple[Rod, ...]] | None = None

    @property
    def changes_s(self) -> list[float]:
        """Begin and end of every move."""
        return [edge for motion in self._motions for edge in (motion.start_s, motion.end_s)]

    def spans(self, end_s: float) -> Iterator[tuple[float, float, Way | None]]:
        """Return every move, and every rest as one without a way, in order."""
        rested_s = 0.0
        for motion in self._motions:
            yield rested_s, motion.start_s, None
            yield motion.start_s, motion.end_s, motion.way
            rested_s = motion.end_s
        yield rested_s, end_s, None

    def moves(self, at_s: float) -> bool:
        """Whether the arm is on its way."""
        index = bisect_right(self._starts_s, at_s) - 1
        return index >= 0 and at_s < self._motions[index].end_s

    def point(self, at_s: float) -> Point:
        """Return where the tool is."""
        index = bisect_right(self._starts_s, at_s) - 1
        if index < 0:
            return self._home
        motion = self._motions[index]
        return motion.way.point(min(at_s, motion.end_s) - motion.start_s)

    def rods(self, at_s: float) -> tuple[Rod, ...]:
        """Return the arm as rods, from the column out to the tool."""
        point = self.point(at_s)
        if self._kept is None or self._kept[0] != point:
            self._kept = point, self._rods_at(point)
        return self._kept[1]

    def _rods_at(self, point: Point) -> tuple[Rod, ...]:
        base, shoulder, elbow, wrist, tip = self._chain.links(self._chain.angles(point))
        neck = (tip[0], tip[1], tip[2] + SOCKET_M)
        hand = (wrist[0], wrist[1], neck[2] + HAND_M)
        nose = (tip[0], tip[1], tip[2] + self.slim_m)
        side = self._side
        return (
            Rod.between(f"{side} column", base, shoulder, COLUMN_M),
            Rod.between(f"{side} upper arm", shoulder, elbow, UPPER_M),
            Rod.between(f"{side} forearm", elbow, wrist, FORE_M),
            Rod.between(f"{side} hand", wrist, hand, HAND_M),
            Rod.between(f"{side} crank", hand, neck, self.slim_m),
            Rod.between(f"{side} tool", neck, nose, self.slim_m),
        )
