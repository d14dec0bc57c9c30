"""How near the arms come to each other and to string, table, racks and bins, over a whole run.

The time is walked in steps that cannot miss a nearer approach: no part of an arm moves faster than
`PART_SPEED_M_S`, so a gap that is wider than the least one by so much needs so long to close.

A tool counts as lowered from when it starts down until it is all up.

Units: metre, second.
Invariants: PH1, the least gap told of a run is at most a centimetre, or a twentieth of itself,
above the true one.
"""

import math
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from types import ModuleType
from typing import Any, Protocol

from sim_arms.activities.bench import SLIDE_M, Bench, HoistBench
from sim_arms.physics.arm_chain import Angles, ArmChain, Point
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
RACK_M, RACK_HEIGHT_M = 0.25, 0.65
"""The rack of an arm: a post with a round top under the place where tools are changed; chosen."""
BIN_M, BIN_HEIGHT_M = 0.2, 0.55
"""The bin, likewise."""
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
) -> tuple[Nearest, Nearest, Nearest, Nearest]:
    """Return the least gap of a run between the arms, and of any arm to each kind of thing.

    Args:
        arms: The benches of both arms, with the ways that they went.
        hoist: With where the string was.
        end_s: Until when.

    Returns:
        Between the arms; to the string, with an endless gap where its pipe is not known; to the
        table; to racks and bins.
    """
    config = arms[0].steel.config
    first, second = (_Track(bench, config) for bench in arms)
    things: list[_Thing] = [_String(hoist, config), _Table(config), _Posts(arms)]
    found = []
    for thing in things:
        best = Nearest()
        for track in (first, second):
            best = _nearest_thing(track, thing, end_s, best)
        found.append(best)
    return _nearest_arms(first, second, end_s), found[0], found[1], found[2]


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
        index = bisect_right(changes_s, at_s)
        change_s = changes_s[index] if index < len(changes_s) else math.inf
        if moving := first.moves(at_s) + second.moves(at_s):
            spare_m = near.gap_m - best.gap_m + _within_m(best)
            at_s = min(change_s, at_s + spare_m / (PART_SPEED_M_S * moving))
        else:
            at_s = change_s
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


def _nearest_thing(track: "_Track", thing: "_Thing", end_s: float, best: Nearest) -> Nearest:
    """Walk each way once for each state of the thing: an arm goes the same ways many times."""
    seen: dict[tuple[object, str, bool], None] = {}
    for start_s, stop_s, way in track.spans(end_s):
        for from_s, until_s, word in thing.spans(start_s, stop_s):
            whole = way is not None and until_s - from_s >= way.duration_s - 1e-6
            # There and back again a tool passes the same points.
            corners = way.key if way and whole else track.point(from_s)
            key = (corners, word, track.is_lowered(from_s))
            if key in seen and (whole or way is None):
                continue
            seen[key] = None
            at_s = from_s
            while at_s <= until_s:
                near = Nearest(thing.gap_at_least_m(track, at_s))
                if near.gap_m < best.gap_m:
                    near = thing.gap(track, at_s, word)
                if near.gap_m < best.gap_m:
                    best = replace(near, at_s=at_s)
                if way is None:
                    break
                at_s += (near.gap_m - best.gap_m + _within_m(best)) / PART_SPEED_M_S
    return best


class _Thing(Protocol):
    """What an arm must keep clear of."""

    def spans(self, start_s: float, stop_s: float) -> Iterator[tuple[float, float, str]]:
        """Return the parts of a time in which the thing stood in one place."""

    def gap_at_least_m(self, track: "_Track", at_s: float) -> float:
        """Return a cheap lower bound of the gap: no part is lower or further in than the tool."""

    def gap(self, track: "_Track", at_s: float, word: str) -> Nearest:
        """Return the gap of an arm to the thing."""


class _String:
    """Where the string was."""

    def __init__(self, hoist: HoistBench, config: SteelConfig) -> None:
        begin = "held_by_hoist" if config.begins == "made_up" else ""
        self._words = [(0.0, begin), *hoist.string_low]
        self._radius_m = config.pipe_radius_m

    def spans(self, start_s: float, stop_s: float) -> Iterator[tuple[float, float, str]]:
        ends = [at_s for at_s, _ in self._words[1:]] + [math.inf]
        for (from_s, word), until_s in zip(self._words, ends, strict=True):
            is_there = word in LOW_M and self._radius_m > 0.0
            if is_there and from_s <= stop_s and until_s > start_s:
                yield max(from_s, start_s), min(until_s, stop_s), word

    def gap_at_least_m(self, track: "_Track", at_s: float) -> float:
        in_m = math.copysign(1.0, track.side_x_m) * track.point(at_s)[0] - track.slim_m
        return in_m - self._radius_m

    def gap(self, track: "_Track", at_s: float, word: str) -> Nearest:
        low = (0.0, 0.0, LOW_M[word] + self._radius_m)
        rod = Rod.between("string", low, (0.0, 0.0, STRING_TOP_M), self._radius_m)
        return _rods_gap(track.rods(at_s)[2:], [rod])


class _Standing:
    """A thing that stands all the time, up to a height."""

    top_m: float

    def spans(self, start_s: float, stop_s: float) -> Iterator[tuple[float, float, str]]:
        yield start_s, stop_s, ""

    def gap_at_least_m(self, track: "_Track", at_s: float) -> float:
        return track.low_m(at_s) - self.top_m


class _Table(_Standing):
    """The hang-off table: a flat round plate, to which the tool is the nearest part."""

    top_m = TABLE_HEIGHT_M

    def __init__(self, config: SteelConfig) -> None:
        self._edge_m = config.bolt_circle_radius_m + TABLE_M

    def gap(self, track: "_Track", at_s: float, word: str) -> Nearest:
        x_m, y_m, _ = track.point(at_s)
        beside_m = max(0.0, math.hypot(x_m, y_m) - track.slim_m - self._edge_m)
        over_m = track.low_m(at_s) - self.top_m
        gap_m = over_m if beside_m == 0.0 else math.hypot(beside_m, max(0.0, over_m))
        return Nearest(gap_m, 0.0, f"{track.side} tool", "hang-off table")


class _Posts(_Standing):
    """Racks and bins of both sides."""

    top_m = max(RACK_HEIGHT_M, BIN_HEIGHT_M)

    def __init__(self, arms: Sequence[Bench]) -> None:
        sizes = (("rack", RACK_M, RACK_HEIGHT_M), ("bin", BIN_M, BIN_HEIGHT_M))
        self._rods = []
        for bench in arms:
            for place, wide_m, height_m in sizes:
                x_m, y_m, _ = bench.steel.layout.point(bench.side, place)
                foot, top = (x_m, y_m, 0.0), (x_m, y_m, height_m - wide_m)
                self._rods.append(Rod.between(f"{bench.side} {place}", foot, top, wide_m))

    def gap(self, track: "_Track", at_s: float, word: str) -> Nearest:
        return _rods_gap(track.rods(at_s)[1:], self._rods)


# Any: angles and coordinates are floats, or arrays of one length of numpy.
def arm_parts(
    chain: ArmChain, angles: Any, slim_m: float, *, is_lowered: bool, of: ModuleType = math
) -> tuple[tuple[str, Any, Any, float], ...]:
    """Return every part of an arm as a rod, from the column out to the tool.

    Args:
        chain: The arm.
        angles: Its six joints; with numpy six arrays of equal shape, for many poses at once.
        slim_m: Half the width of a tool's slim lower part and of its crank.
        is_lowered: Whether the tool is down on its slide.
        of: Whose sine and cosine: math, or numpy for arrays.

    Returns:
        (name, begin, end, half width) of each.
    """
    base, shoulder, elbow, wrist, tip = chain.links(angles, of)
    neck = (tip[0], tip[1], tip[2] + SOCKET_M)
    hand = (wrist[0], wrist[1], neck[2] + HAND_M)
    nose = (tip[0], tip[1], tip[2] + slim_m - (SLIDE_M if is_lowered else 0.0))
    return (
        ("column", base, shoulder, COLUMN_M),
        ("upper arm", shoulder, elbow, UPPER_M),
        ("forearm", elbow, wrist, FORE_M),
        ("hand", wrist, hand, HAND_M),
        ("crank", hand, neck, slim_m),
        ("tool", neck, nose, slim_m),
    )


def slim_m(config: SteelConfig) -> float:
    """Return half the width of the slim lower part of a tool."""
    return config.across_flats_m / math.sqrt(3.0) + WALL_M


class _Track:
    """Where one arm was, from the ways that it went."""

    def __init__(self, bench: Bench, config: SteelConfig) -> None:
        self.side = bench.side
        self._chain: ArmChain = bench.steel.chains[bench.side]
        self._motions = bench.motions
        self._starts_s = [motion.start_s for motion in bench.motions]
        self._home = bench.steel.layout.point(bench.side, "park")
        self.side_x_m = self._chain.base_x_m
        self.slim_m = slim_m(config)
        self._kept: tuple[tuple[Angles, bool], tuple[Rod, ...]] | None = None
        # A tool drawn up on the way was told so before it was up; the order is that of time.
        self._strokes = sorted([(0.0, False), *bench.lowered])
        self._strokes_s = [at_s for at_s, _ in self._strokes]

    @property
    def changes_s(self) -> list[float]:
        """Begin and end of every move and of every stroke of the tool."""
        moves = [edge for motion in self._motions for edge in (motion.start_s, motion.end_s)]
        return [*moves, *self._strokes_s]

    def is_lowered(self, at_s: float) -> bool:
        """Whether the tool is down on its slide."""
        return self._strokes[bisect_right(self._strokes_s, at_s) - 1][1]

    def low_m(self, at_s: float) -> float:
        """Return the height of the lower end of the tool."""
        return self.point(at_s)[2] - (SLIDE_M if self.is_lowered(at_s) else 0.0)

    def spans(self, end_s: float) -> Iterator[tuple[float, float, Way | None]]:
        """Return every move, and every rest as one without a way, in order, cut at the strokes."""
        for start_s, stop_s, way in self._whole_spans(end_s):
            first, last = (bisect_right(self._strokes_s, one) for one in (start_s, stop_s))
            edges = [start_s, *self._strokes_s[first:last], stop_s]
            for from_s, until_s in pairwise(edges):
                yield from_s, until_s, way

    def _whole_spans(self, end_s: float) -> Iterator[tuple[float, float, Way | None]]:
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

    def _angles(self, at_s: float) -> Angles:
        index = bisect_right(self._starts_s, at_s) - 1
        if index < 0:
            return self._chain.angles(self._home)
        motion = self._motions[index]
        return motion.way.angles(min(at_s, motion.end_s) - motion.start_s)

    def rods(self, at_s: float) -> tuple[Rod, ...]:
        """Return the arm as rods, from the column out to the tool."""
        angles, is_lowered = self._angles(at_s), self.is_lowered(at_s)
        if self._kept is None or self._kept[0] != (angles, is_lowered):
            parts = arm_parts(self._chain, angles, self.slim_m, is_lowered=is_lowered)
            rods = tuple(
                Rod.between(f"{self.side} {name}", start, end, radius_m)
                for name, start, end, radius_m in parts
            )
            self._kept = (angles, is_lowered), rods
        return self._kept[1]
