"""Six joints, ways around the pipe, and how near the arms come over a whole run."""

import itertools
import math
import random

import pytest

from sim_arms import clearance
from sim_arms.activities import Bench, HoistBench, begin
from sim_arms.activities.bench import Unfit
from sim_arms.causes import Causes
from sim_arms.clearance import Nearest, least_clearance
from sim_arms.physics.arm_chain import (
    CRANK_M,
    FORE_M,
    LIMITS_RAD,
    SPEED_RAD_S,
    TOOL_M,
    UPPER_M,
    ArmChain,
    OutOfReachError,
    Point,
    along,
)
from sim_arms.physics.motion import SPEED_M_S, Layout, Way, move_s, moved_m
from sim_arms.physics.volumes import lines_apart_m
from sim_arms.steel import Steel
from tests.unit.sim_arms.bench_driver import SIDES, Rig, steel_config

LAYOUT = Layout.around(0.3015, SIDES, ("fore",) * 4 + ("aft",) * 4)
CHAINS = {
    side: ArmChain.beside(0.3015, sign) for side, sign in zip(SIDES, (-1.0, 1.0), strict=True)
}
PLACES = ("park", "rack", "bin", "bore", "joint")


def places_of(side: str) -> list[str]:
    """Return every place of a side."""
    own = range(1, 5) if side == "fore" else range(5, 9)
    return [*PLACES, *(f"bolt.{bolt}" for bolt in own)]


def ways() -> list[tuple[str, Way]]:
    """Return every way that an arm can go."""
    return [
        (side, Way.between(CHAINS[side], LAYOUT, LAYOUT.point(side, a), LAYOUT.point(side, b)))
        for side in SIDES
        for a, b in itertools.permutations(places_of(side), 2)
    ]


def test_the_links_keep_their_lengths_and_the_tool_comes_to_its_point_at_every_place() -> None:
    """PH2: forward again from the angles: the inverse is right and the tool hangs straight."""
    seen = 0
    for side in SIDES:
        for place in places_of(side):
            point = LAYOUT.point(side, place)
            angles = CHAINS[side].angles(point)
            _, shoulder, elbow, wrist, tip = CHAINS[side].links(angles)

            assert tip == pytest.approx(point, abs=1e-9)
            assert math.dist(shoulder, elbow) == pytest.approx(UPPER_M)
            assert math.dist(elbow, wrist) == pytest.approx(FORE_M)
            assert wrist[2] - tip[2] == pytest.approx(TOOL_M)
            assert math.dist(wrist[:2], tip[:2]) == pytest.approx(CRANK_M)
            for angle, (low, high) in zip(angles, LIMITS_RAD, strict=True):
                assert low <= angle <= high
            seen += 1
    assert seen == 18


@pytest.mark.parametrize(
    ("point", "told"),
    [
        ((2.0, 0.0, 1.0), "from the shoulder, must be below 3.30 m"),
        ((-2.6, 0.5, 0.2), "joint"),
    ],
)
def test_a_point_out_of_reach_is_refused_with_the_reason(point: Point, told: str) -> None:
    """Too far for the links, or beyond the limit of a joint."""
    with pytest.raises(OutOfReachError, match=told):
        CHAINS["fore"].angles(point)


def test_an_action_on_a_bolt_out_of_reach_is_not_taken_up() -> None:
    """Nothing has moved when it is told."""
    rig = Rig()
    rig.do("fore", "change_tool", tool="spinner")
    rig.arms["fore"].steel.chains["fore"] = ArmChain.beside(3.0, -1.0)

    with pytest.raises(Unfit, match="bolt 1 is out of reach"):
        begin("locate_hole", {"bolt": 1}, rig.arms["fore"], "stop")


def test_no_joint_goes_faster_than_it_may_on_any_way() -> None:
    """Finite differences over every way between two places, at 5 ms."""
    step_s = 5e-3
    for side, way in ways():
        before = CHAINS[side].angles(way.point(0.0))
        for step in range(1, int(way.duration_s / step_s) + 1, 7):
            now = CHAINS[side].angles(way.point(step * step_s))
            late = CHAINS[side].angles(way.point(step * step_s + step_s))
            for old, new, most in zip(now, late, SPEED_RAD_S, strict=True):
                assert abs(new - old) / step_s <= 1.02 * most
            before = late
        assert len(before) == 6


def test_no_part_of_an_arm_is_faster_or_further_in_or_lower_than_the_walk_believes() -> None:
    """The bounds on which the walk over a run rests, at random times on every way."""
    rng = random.Random(5)
    fastest = 0.0
    for side, way in ways():
        sign = math.copysign(1.0, CHAINS[side].base_x_m)
        for _ in range(12):
            at_s = rng.uniform(0.0, way.duration_s)
            now, late = (
                CHAINS[side].links(CHAINS[side].angles(way.point(t))) for t in (at_s, at_s + 1e-3)
            )
            fastest = max(fastest, max(map(math.dist, now, late)) / 1e-3)
            tip = now[4]
            assert min(sign * point[0] for point in now) >= sign * tip[0] - 1e-9
            assert min(point[2] for point in now[2:]) >= tip[2] - 1e-9

    assert SPEED_M_S <= fastest <= clearance.PART_SPEED_M_S


def test_a_move_goes_as_far_as_the_area_under_its_trapezoid() -> None:
    """Summed speed, for a long and for a short move."""
    for distance_m in (1.2, 0.1):
        whole_s = move_s(distance_m)
        assert moved_m(distance_m, whole_s) == distance_m
        assert moved_m(distance_m, 0.5 * whole_s) == pytest.approx(0.5 * distance_m)
        times = [whole_s * n / 1000 for n in range(1001)]
        speeds = [
            (moved_m(distance_m, b) - moved_m(distance_m, a)) / (b - a)
            for a, b in itertools.pairwise(times)
        ]
        assert max(speeds) <= SPEED_M_S + 1e-9
        assert min(speeds) >= 0.0


def test_no_way_leads_a_tool_through_the_pipe() -> None:
    """Every way but those to and from the bore stays out of the pipe of 406 mm."""
    for side in SIDES:
        names = [place for place in places_of(side) if place != "bore"]
        for first, second in itertools.permutations(names, 2):
            way = Way.between(
                CHAINS[side], LAYOUT, LAYOUT.point(side, first), LAYOUT.point(side, second)
            )
            parts = [way.point(way.duration_s * n / 200) for n in range(201)]
            assert min(math.hypot(x, y) for x, y, _ in parts) > 0.2032 + 0.03


def test_lines_without_length_are_points() -> None:
    """A rod of no length is a ball."""
    origin, up, aside = (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (3.0, 4.0, 0.5)

    assert lines_apart_m(origin, origin, aside, aside) == pytest.approx(math.dist(origin, aside))
    assert lines_apart_m(origin, up, aside, aside) == pytest.approx(5.0)
    assert lines_apart_m(aside, aside, origin, up) == pytest.approx(5.0)


def test_arms_that_reach_over_each_other_are_told_as_touching() -> None:
    """Aft is sent to the bore while fore stands there."""
    rig = Rig()
    for side in SIDES:
        rig.do(side, "change_tool", tool="gripper")
    rig.together(("fore", "fit_cover", {}), ("aft", "fit_cover", {}))

    gap = least_clearance(list(rig.arms.values()), rig.hoist, rig.time_s)[0]

    assert gap.gap_m < 0.0


def test_a_held_arm_goes_on_from_where_it_stopped() -> None:
    """The way of the hold ends where the next way begins."""
    rig = Rig()
    rig.hold("fore", "locate_hole", after_s=5.0, on_hold="stop", bolt=1)
    rig.do("fore", "locate_hole", bolt=1)

    stopped, went_on = rig.arms["fore"].motions
    assert stopped.end_s - stopped.start_s == pytest.approx(5.25)
    assert went_on.way.point(0.0) == stopped.way.point(5.25)
    assert went_on.way.point(1e9) == LAYOUT.point("fore", "bolt.1")
    assert rig.arms["fore"].stopped is None


def test_a_held_arm_that_is_wanted_elsewhere_goes_back_along_its_way_first() -> None:
    """Held twice, on the way there and on the way back: it never leaves the line announced."""
    rig = Rig()
    rig.hold("fore", "locate_hole", after_s=8.0, on_hold="stop", bolt=1)
    rig.hold("fore", "locate_joint", after_s=2.0, on_hold="stop")
    rig.do("fore", "locate_joint")

    there, back, home, on = rig.arms["fore"].motions
    assert back.way.point(0.0) == pytest.approx(there.way.point(8.25), abs=1e-9)
    assert home.way.point(0.0) == pytest.approx(back.way.point(2.25), abs=1e-9)
    assert home.way.point(1e9) == LAYOUT.point("fore", "park") == on.way.point(0.0)
    assert on.way.point(1e9) == LAYOUT.point("fore", "joint")
    times = [8.25 * n / 40 for n in range(41)]
    line = [there.way.point(time_s) for time_s in times]
    for time_s in (0.3, 1.1, 2.0):
        gone = back.way.point(time_s)
        assert min(math.dist(gone, point) for point in line) < 0.05


def test_between_its_knots_a_tool_strays_less_than_a_millimetre() -> None:
    """Joints turn evenly between knots, so the tool goes almost straight, and comes to both."""
    worst_m = 0.0
    for _, way in ways():
        for index, leg in enumerate(way.legs):
            for part in range(101):
                share = part / 100
                drawn = along(leg.start, leg.end, share)
                worst_m = max(worst_m, math.dist(drawn, way.point_at(index, share)))

    assert 1e-5 < worst_m < 1e-3


def test_a_steel_without_a_known_pipe_has_no_string_to_keep_clear_of() -> None:
    """Nothing is made up where the joint file does not say how wide the pipe is."""
    steel = Steel(steel_config(), 1)
    bench = Bench("fore", steel, Causes(), random.Random(1), lambda: 0.0)
    other = Bench("aft", steel, Causes(), random.Random(1), lambda: 0.0)
    hoist = HoistBench(steel, Causes(), random.Random(1), lambda: 0.0)

    _, string, table, posts = least_clearance([bench, other], hoist, 10.0)

    assert string == Nearest()
    assert table.second == "hang-off table"
    assert posts.second in ("fore rack", "fore bin", "aft rack", "aft bin")


def test_a_tool_that_goes_down_on_its_slide_comes_nearer_to_what_is_below() -> None:
    """By hand: 0.8 m over the deck, less 0.15 m of slide, over a bin of 0.55 m, and so on."""
    rig = Rig()
    fore, all_arms = rig.arms["fore"], list(rig.arms.values())
    rig.do("fore", "change_tool", tool="spinner")
    before = least_clearance(all_arms, rig.hoist, rig.time_s)
    rig.do("fore", "locate_bolt", bolt=1)
    rig.do("fore", "turn_socket", bolt=1)
    rig.do("fore", "pick_bolt", bolt=1)
    at_bin = least_clearance(all_arms, rig.hoist, rig.time_s)
    rig.do("fore", "lift")
    rig.do("fore", "locate_hole", bolt=1)
    over_bolt = least_clearance(all_arms, rig.hoist, rig.time_s)
    rig.do("fore", "place_bolt", bolt=1)
    at_bolt = least_clearance(all_arms, rig.hoist, rig.time_s)

    assert before[3].gap_m == pytest.approx(0.9 - 0.65)
    assert at_bin[3].gap_m == pytest.approx(0.8 - 0.15 - 0.55)
    assert [before[3].second, at_bin[3].second] == ["fore rack", "fore bin"]
    assert over_bolt[2].gap_m == pytest.approx(1.0 - 0.7)
    assert at_bolt[2].gap_m == pytest.approx(1.0 - 0.15 - 0.7)
    assert (at_bolt[2].first, at_bolt[2].second) == ("fore tool", "hang-off table")
    assert [is_down for _, is_down in sorted(fore.lowered)][-1]


def test_a_tool_left_down_is_drawn_up_as_the_arm_leaves() -> None:
    """Two seconds into the next way it is up; the way takes no longer for it."""
    rig = Rig()
    rig.do("fore", "change_tool", tool="spinner")
    rig.do("fore", "locate_bolt", bolt=1)
    rig.do("fore", "turn_socket", bolt=1)
    rig.do("fore", "pick_bolt", bolt=1)
    left_s = rig.time_s
    rig.do("fore", "park")

    track = clearance._Track(rig.arms["fore"], rig.arms["fore"].steel.config)

    assert track.is_lowered(left_s)
    assert track.is_lowered(left_s + 1.99)
    assert not track.is_lowered(left_s + 2.0)
    nose = track.rods(left_s)[-1]
    assert nose.end[2] - track.slim_m == pytest.approx(track.point(left_s)[2] - 0.15)
