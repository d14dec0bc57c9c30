"""How near two arms can come, whatever order events take: the least gap of what they can sweep.

Each leg is sampled along its path, and every sample carries how far any point of a part may get
from it until the next: half the chord, and what a path that turns its joints evenly strays from the
chord, at most (sum of turns)² times reach over 8 (bound of linear interpolation: P. Davis,
Interpolation and Approximation, 1963, theorem 3.1.1, from memory). So a gap is never told too wide;
what is not decided at the last halving counts as near.

Evidence for planning, no protective function.

Units: metre, radian.
Invariants: CL3, no two arms come nearer, in any run that the relation of steps covers, than the
least gap that is reported, less 5 mm.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from coordinator.prove.concurrency import GO_BACKS, Concurrency, Spot, concurrency
from coordinator.rehearse.simulated import Simulation
from coordinator.rehearse.stances import Reach, Stretch, reach_of
from coordinator.sequence import Loaded
from sim_arms.activities.bench import SLIDE_M
from sim_arms.clearance import arm_parts, slim_m
from sim_arms.physics.arm_chain import FORE_M, TOOL_M, UPPER_M, ArmChain

WITHIN_M = 0.005
"""Chosen: where two strokes run side by side, a finer answer costs many times as much."""
HALVINGS = 6
REACH_M = UPPER_M + FORE_M + TOOL_M + SLIDE_M + 0.3
"""From the axis of an arm to its furthest point, with a margin; chosen."""
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class NearPass:
    """Two arms that can come near each other."""

    gap_m: float
    """Below nought where they overlap."""
    spots: tuple[Spot, Spot]
    """How far both have come: one pair of those that lead to it."""
    pairs: int
    """How many pairs lead to it."""
    parts: tuple[str, str]
    at_m: tuple[float, float, float]
    """In the middle between both, from the joint's axis and the deck."""
    stretches: tuple[Stretch, Stretch]


@dataclass(frozen=True, slots=True)
class Clearance:
    """How near two arms can come in any order of events."""

    least: NearPass
    below: tuple[NearPass, ...]
    """Every near pass below the limit, the nearest first."""
    together: Concurrency
    out_of_reach: tuple[str, ...]


def clearance_of(loaded: Loaded, limit_m: float, go_backs: int = GO_BACKS) -> Clearance:
    """Return how near both arms of a sequence can come, over every order of events.

    Args:
        loaded: The sequence; the simulated arms must know its actions.
        limit_m: Every near pass below it is told of.
        go_backs: How often a person may send both back over rounds.

    Raises:
        TooManyStates: the sequence has too many orders to look at.
    """
    plan = loaded.plan
    first, second = (index for index, party in enumerate(plan.parties) if party.is_arm)
    together = concurrency(plan, (first, second), go_backs)
    steel = Simulation(loaded, 0).steel()
    chains = [steel.chains[plan.parties[lane].name] for lane in (first, second)]
    reaches = [
        reach_of(plan, together, lane, chain, steel.layout)
        for lane, chain in zip((first, second), chains, strict=True)
    ]
    wide_m = slim_m(steel.config)
    sweeps = [
        {key: _Sweep(chain, key, wide_m) for key in sorted(_keys(reach))}
        for chain, reach in zip(chains, reaches, strict=True)
    ]
    wanted = _wanted(together, reaches)
    passes = _nearest(sweeps[0], sweeps[1], wanted, limit_m)
    least = min(passes, key=lambda one: (one.gap_m, one.spots))
    below = sorted((one for one in passes if one.gap_m < limit_m), key=lambda one: one.gap_m)
    out_of_reach = tuple(words for reach in reaches for words in reach.out_of_reach)
    return Clearance(least, tuple(below), together, out_of_reach)


Key = Stretch
"""A stretch without its zone: what is swept is the same in any."""


def _key(stretch: Stretch) -> Key:
    return stretch._replace(zone=-1)


def _keys(reach: Reach) -> set[Key]:
    return {_key(one) for stretches in reach.stretches.values() for one in stretches}


class _Wanted(NamedTuple):
    """A pair of spots that leads to a pair of stretches, and how many do."""

    spots: tuple[Spot, Spot]
    pairs: int


def _wanted(together: Concurrency, reaches: Sequence[Reach]) -> dict[tuple[Key, Key], _Wanted]:
    """Return every pair of stretches that can be swept together, with spots that do."""
    found: dict[tuple[Key, Key], _Wanted] = {}
    for spots in sorted(together.pairs):
        sides = [reach.stretches[spot] for reach, spot in zip(reaches, spots, strict=True)]
        pairs = {
            (_key(one), _key(other))
            for one, other in product(*sides)
            if one.zone < 0 or one.zone != other.zone
        }
        for pair in pairs:
            known = found.get(pair)
            found[pair] = _Wanted(known.spots if known else spots, known.pairs + 1 if known else 1)
    return found


class _Samples(NamedTuple):
    """Poses along a stretch; n of them, of p parts."""

    begins: Array
    """(n, p, 3) of each part."""
    ends: Array
    strays: Array
    """(n, p): how far a point of the part gets from the sample until half way to the next."""


class _Sweep:
    """One stretch of one arm, sampled ever more finely as is asked for."""

    def __init__(self, chain: ArmChain, key: Key, wide_m: float) -> None:
        self._chain, self._key, self._wide_m = chain, key, wide_m
        moves = key.start != key.end
        self._knots = np.array(
            chain.knots(key.start, key.end) if moves else [chain.angles(key.start)]
        )
        self._kept: dict[int, _Samples] = {}
        parts = arm_parts(chain, self._knots[0], wide_m, is_lowered=key.is_lowered)
        self.names = tuple(name for name, *_ in parts)
        self.radii = np.array([radius_m for *_, radius_m in parts])

    def count(self, halvings: int) -> int:
        """Return how many samples there are."""
        spans: int = len(self._knots) - 1
        return spans * int(2**halvings) + 1

    def samples(self, halvings: int) -> _Samples:
        """Return the samples after so many halvings of the way between two knots."""
        if halvings not in self._kept:
            self._kept[halvings] = self._sample(halvings)
        return self._kept[halvings]

    def box(self) -> tuple[Array, Array]:
        """Return the corners of a box around all that is swept, each (3,)."""
        begins, ends, strays = self.samples(0)
        wide = (self.radii + strays)[..., None]
        low, high = np.minimum(begins, ends) - wide, np.maximum(begins, ends) + wide
        return low.min((0, 1)), high.max((0, 1))

    def _sample(self, halvings: int) -> _Samples:
        knots, parts = self._knots, self.count(halvings)
        at = np.arange(parts) / 2**halvings
        index = np.minimum(at.astype(int), max(0, len(knots) - 2))
        after = np.minimum(index + 1, len(knots) - 1)
        angles = knots[index] + (at - index)[:, None] * (knots[after] - knots[index])
        lowered = self._key.is_lowered
        rods = arm_parts(self._chain, angles.T, self._wide_m, is_lowered=lowered, of=np)
        begins, ends = (
            np.stack([_points(rod[side], parts) for rod in rods], axis=1) for side in (1, 2)
        )
        strays = np.zeros(begins.shape[:2])
        if parts > 1:
            chords = np.maximum(
                np.linalg.norm(np.diff(begins, axis=0), axis=2),
                np.linalg.norm(np.diff(ends, axis=0), axis=2),
            )
            turns = np.abs(np.diff(angles, axis=0)).sum(1)
            until_half = chords / 2 + (turns**2 * REACH_M / 8)[:, None]
            strays[:-1] = until_half
            strays[1:] = np.maximum(strays[1:], until_half)
        return _Samples(begins, ends, strays)


# Any: what `arm_parts` returns; here arrays, and floats where a coordinate is one for all.
def _points(point: Any, count: int) -> Array:
    """Return points, (n, 3), of which some coordinates may be one for all."""
    return np.stack([np.broadcast_to(one, (count,)) for one in point], axis=-1)


def _nearest(
    firsts: dict[Key, _Sweep],
    seconds: dict[Key, _Sweep],
    wanted: dict[tuple[Key, Key], _Wanted],
    limit_m: float,
) -> list[NearPass]:
    """Return the least of all, and every near pass below the limit."""
    boxes = [{key: one.box() for key, one in sweeps.items()} for sweeps in (firsts, seconds)]
    order = sorted((_box_gap_m(boxes[0][a], boxes[1][b]), a, b) for a, b in wanted)
    least_m, found = math.inf, []
    for gap_m, a, b in order:
        # What is hardly nearer than the least known need not be told apart from it.
        wanted_m = max(limit_m, least_m - WITHIN_M)
        if gap_m >= wanted_m:
            break
        near = _least(firsts[a], seconds[b], wanted_m)
        if near is not None:
            least_m = min(least_m, near.gap_m)
            of = wanted[a, b]
            found.append(NearPass(near.gap_m, of.spots, of.pairs, near.parts, near.at_m, (a, b)))
    return found


def _box_gap_m(one: tuple[Array, Array], other: tuple[Array, Array]) -> float:
    apart = np.maximum(np.maximum(one[0] - other[1], other[0] - one[1]), 0.0)
    return float(np.linalg.norm(apart))


class _Near(NamedTuple):
    gap_m: float
    parts: tuple[str, str]
    at_m: tuple[float, float, float]


Indices = NDArray[np.int64]


class _Open(NamedTuple):
    """Pairs of parts at pairs of samples that may yet be nearer than what is known."""

    first: Indices
    """Sample of the first sweep, (n,)."""
    second: Indices
    part: Indices
    """Of the first arm."""
    other_part: Indices
    gaps: Array
    """At these samples."""
    lows: Array
    """The least that the gap can be between them and their neighbours."""


def _least(one: _Sweep, other: _Sweep, below_m: float) -> _Near | None:
    """Return the least gap of two sweeps, None if it is not below a bound.

    What is still undecided at the last halving is told at its lower bound: near, never far.
    """
    grid = np.meshgrid(np.arange(one.count(0)), np.arange(other.count(0)), indexing="ij")
    samples = np.stack([grid[0].ravel(), grid[1].ravel()])
    best: _Near | None = None
    for halvings in range(HALVINGS + 1):
        found = _open((one, other), halvings, samples, below_m)
        if not len(found.gaps):
            return best
        nearest = int(found.gaps.argmin())
        if found.gaps[nearest] < (below_m if best is None else best.gap_m):
            best = _near((one, other), halvings, found, nearest)
        is_open = found.lows < (below_m if best is None else best.gap_m - WITHIN_M)
        if not is_open.any():
            return best
        if halvings == HALVINGS:
            worst = int(found.lows.argmin())
            near = _near((one, other), halvings, found, worst)
            return near._replace(gap_m=float(found.lows[worst]))
        samples = np.unique(np.stack([found.first[is_open], found.second[is_open]]), axis=1)
        samples = _halved(samples, one.count(halvings + 1), other.count(halvings + 1))
    return best


def _open(sweeps: tuple[_Sweep, _Sweep], halvings: int, samples: Indices, below_m: float) -> _Open:
    """Return what of pairs of samples, (2, n), may come below a bound; balls first, then lines."""
    (one, other), (rows, columns) = sweeps, samples
    a, b = one.samples(halvings), other.samples(halvings)
    low_1, high_1 = a.begins[rows][:, :, None], a.ends[rows][:, :, None]
    low_2, high_2 = b.begins[columns][:, None], b.ends[columns][:, None]
    wide = (one.radii[:, None] + other.radii)[None]
    strays = a.strays[rows][:, :, None] + b.strays[columns][:, None]
    middles = np.linalg.norm((low_1 + high_1 - low_2 - high_2) / 2, axis=-1)
    halves = (np.linalg.norm(high_1 - low_1, axis=-1) + np.linalg.norm(high_2 - low_2, axis=-1)) / 2
    pair, part, other_part = np.nonzero(middles - halves - wide - strays < below_m)
    row, column = rows[pair], columns[pair]
    gaps = (
        lines_apart_m(
            a.begins[row, part],
            a.ends[row, part],
            b.begins[column, other_part],
            b.ends[column, other_part],
        )
        - wide[0, part, other_part]
    )
    return _Open(row, column, part, other_part, gaps, gaps - strays[pair, part, other_part])


def _near(sweeps: tuple[_Sweep, _Sweep], halvings: int, found: _Open, index: int) -> _Near:
    one, other = sweeps
    a, b = one.samples(halvings), other.samples(halvings)
    row, column = found.first[index], found.second[index]
    part, other_part = found.part[index], found.other_part[index]
    middle = (
        a.begins[row, part]
        + a.ends[row, part]
        + b.begins[column, other_part]
        + b.ends[column, other_part]
    ) / 4
    at_m = (float(middle[0]), float(middle[1]), float(middle[2]))
    return _Near(float(found.gaps[index]), (one.names[part], other.names[other_part]), at_m)


def _halved(samples: Indices, count: int, other_count: int) -> Indices:
    """Return the samples around those that are still open, (2, n), one halving further."""
    around = [np.array(step)[:, None] for step in product((-1, 0, 1), repeat=2)]
    most = np.array([[count - 1], [other_count - 1]])
    finer = np.concatenate([np.clip(2 * samples + step, 0, most) for step in around], axis=1)
    return np.unique(finer, axis=1)


def lines_apart_m(first: Array, first_end: Array, second: Array, second_end: Array) -> Array:
    """Return the distances of many pairs of lines with ends.

    `sim_arms.physics.volumes.lines_apart_m` does one pair without numpy, which arms do without.

    Args:
        first: Begin of each first line, (n, 3).
        first_end: Its end.
        second: Begin of each second line.
        second_end: Its end.

    Returns:
        (n,) distances.

    Source:
        C. Ericson, Real-Time Collision Detection, 2005, section 5.1.9 (from memory).
    """
    along_1, along_2, between = first_end - first, second_end - second, first - second
    size_1, size_2 = (np.maximum((one * one).sum(-1), 1e-18) for one in (along_1, along_2))
    on_1, on_2 = (along_1 * between).sum(-1), (along_2 * between).sum(-1)
    cross = (along_1 * along_2).sum(-1)
    skew = size_1 * size_2 - cross * cross
    is_skew = skew > 1e-15
    meets = (cross * on_2 - on_1 * size_2) / np.where(is_skew, skew, 1.0)
    low, high = np.clip(-on_1 / size_1, 0.0, 1.0), np.clip((cross - on_1) / size_1, 0.0, 1.0)
    # Side by side, any point of the first will do to begin with; of a ball, the one nearest to it.
    share_1 = np.where(is_skew, np.clip(meets, 0.0, 1.0), np.where(size_2 > 1e-17, 0.0, low))
    share_2 = (cross * share_1 + on_2) / size_2
    share_1 = np.where(share_2 < 0.0, low, np.where(share_2 > 1.0, high, share_1))
    gap = between + along_1 * share_1[..., None] - along_2 * np.clip(share_2, 0.0, 1.0)[..., None]
    apart: Array = np.linalg.norm(gap, axis=-1)
    return apart
