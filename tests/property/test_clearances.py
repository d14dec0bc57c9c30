"""Distances of lines and of arms at work, against what SciPy and fine steps find."""

import itertools
import math
import random
from collections.abc import Sequence

import pytest
from scipy.optimize import minimize

from sim_arms import clearance
from sim_arms.activities import Bench, HoistBench
from sim_arms.clearance import Nearest, least_clearance
from sim_arms.physics.arm_chain import (
    Point,
)
from sim_arms.physics.motion import Layout
from sim_arms.physics.volumes import Rod, gap_at_least_m, lines_apart_m, rods_gap_m
from tests.unit.sim_arms.bench_driver import SIDES, Rig

LAYOUT = Layout.around(0.3015, SIDES, ("fore",) * 4 + ("aft",) * 4)


def point_drawn(rng: random.Random) -> Point:
    return rng.uniform(-1.0, 1.0), rng.uniform(-1.0, 1.0), rng.uniform(-1.0, 1.0)


def apart_squared(shares: Sequence[float], a: Point, b: Point, c: Point, d: Point) -> float:
    """Return the square of the distance of two points, each a share of the way along its line."""
    one = [p + shares[0] * (q - p) for p, q in zip(a, b, strict=True)]
    other = [p + shares[1] * (q - p) for p, q in zip(c, d, strict=True)]
    return math.dist(one, other) ** 2


def test_the_distance_of_two_lines_is_the_least_of_all_their_points() -> None:
    """SciPy minimises over both lines; a cheap bound is never above it."""
    rng = random.Random(11)
    for _ in range(60):
        a, b, c, d = (point_drawn(rng) for _ in range(4))
        starts = [(x, y) for x in (0.0, 0.5, 1.0) for y in (0.0, 0.5, 1.0)]
        least = min(
            minimize(
                apart_squared, start, args=(a, b, c, d), bounds=[(0, 1), (0, 1)], tol=1e-14
            ).fun
            for start in starts
        )
        first, second = Rod.between("a", a, b, 0.1), Rod.between("b", c, d, 0.05)
        assert lines_apart_m(a, b, c, d) == pytest.approx(math.sqrt(least), abs=1e-4)
        assert gap_at_least_m(first, second) <= rods_gap_m(first, second) + 1e-12


def two_at_work() -> tuple[list[Bench], HoistBench, float]:
    """Let both arms go to bolts and back, with pauses, while the string comes down."""
    rig = Rig(seed=3)
    rig.do("hoist", "bring_length")
    for step in range(4):
        rig.together(
            ("fore", "locate_hole", {"bolt": 1 + step}), ("aft", "locate_hole", {"bolt": 8 - step})
        )
        if step == 1:
            rig.do("hoist", "land_length")
        rig.together(("fore", "park", {}), ("aft", "locate_joint", {}))
    return list(rig.arms.values()), rig.hoist, rig.time_s


def test_the_least_gap_of_a_run_is_the_one_that_fine_steps_find() -> None:
    """PH1: every 20 ms, each pair of rods, against the walk that skips what cannot matter."""
    arms, hoist, end_s = two_at_work()
    found = least_clearance(arms, hoist, end_s)

    config = arms[0].steel.config
    first, second = (clearance._Track(bench, config) for bench in arms)
    rack = first.rods(0.0)[0].start, LAYOUT.point("fore", "rack")
    assert math.dist(rack[0][:2], rack[1][:2]) > 1.0  # No rack stands under an arm's own column.
    posts = clearance._Posts(arms)._rods
    least, to_posts = Nearest(), math.inf
    for step in range(int(end_s / 0.02)):
        for one in first.rods(step * 0.02):
            for other in second.rods(step * 0.02):
                if rods_gap_m(one, other) < least.gap_m:
                    least = Nearest(rods_gap_m(one, other), step * 0.02, one.name, other.name)
        for track in (first, second):
            for one, post in itertools.product(track.rods(step * 0.02)[1:], posts):
                if gap_at_least_m(one, post) < to_posts:
                    to_posts = min(to_posts, rods_gap_m(one, post))

    assert to_posts - 1e-6 <= found[3].gap_m <= to_posts + clearance.WITHIN_SHARE * to_posts
    assert least.gap_m - 1e-6 <= found[0].gap_m + 0.01
    assert found[0].gap_m <= least.gap_m + clearance.WITHIN_M
    assert 0.0 < found[0].gap_m < 1.0
    assert found[0].first.startswith("fore")
    assert found[0].second.startswith("aft")
