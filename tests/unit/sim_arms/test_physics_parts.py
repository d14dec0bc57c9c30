"""Thread start, bolt law, socket, wrench, camera and motion, each against its own geometry."""

import math
import random

import pytest

from sim_arms.physics.bolt import BoltLaw, Snug, TurningLine, loosening_line, tightening_line
from sim_arms.physics.camera import Camera, Light, Pose
from sim_arms.physics.flange import Grip
from sim_arms.physics.motion import Layout, move_s
from sim_arms.physics.socket import SIXTH_RAD, Burr, HexFit
from sim_arms.physics.thread import ThreadStart, turns_to_shoulder
from sim_arms.physics.wrench import WrenchModel

INCH_M = 0.0254
LBF_N = 4.4482216152605
LBF_FT_NM = 1.3558179483314004
START = ThreadStart(0.003175, 0.0508, 1.6e-3, 0.5e-3)
FIT = HexFit(0.079375, 1.43e-3, math.radians(1.5))


@pytest.mark.parametrize(
    ("diameter_in", "torque_lbf_ft"), [(1.0, 279.0), (1.5, 962.0), (2.0, 2297.0)]
)
def test_the_long_form_gives_the_published_stud_torques(
    diameter_in: float, torque_lbf_ft: float
) -> None:
    """API Spec 6A, flange bolt torque annex, 8 threads per inch, f 0.07, 52.5 ksi (reprint)."""
    pitch_in = 1.0 / 8.0
    area_in2 = math.pi / 4.0 * (diameter_in - 0.9743 * pitch_in) ** 2
    law = stud(diameter_in, friction=0.07)

    torque_nm = law.tightening_nm(52.5e3 * area_in2 * LBF_N)

    assert torque_nm / LBF_FT_NM == pytest.approx(torque_lbf_ft, abs=0.6)


def stud(diameter_in: float, friction: float) -> BoltLaw:
    """Return the law of an 8UN stud with a heavy hex nut."""
    pitch_in = 1.0 / 8.0
    return BoltLaw(
        pitch_m=pitch_in * INCH_M,
        pitch_diameter_m=(diameter_in - 0.649519 * pitch_in) * INCH_M,
        major_diameter_m=diameter_in * INCH_M,
        across_flats_m=(1.5 * diameter_in + 0.125) * INCH_M,
        thread_friction=friction,
        face_friction=friction,
    )


def test_loosening_takes_less_than_tightening_by_the_slope_of_the_thread() -> None:
    """The pitch hinders one way and helps the other: the gap is twice pitch over two pi."""
    law = stud(2.0, friction=0.07)

    gap_m = law.tightening_m - law.loosening_m

    assert gap_m == pytest.approx(2.0 * law.pitch_m / (2.0 * math.pi), rel=0.01)


def test_without_friction_torque_is_the_work_of_one_turn() -> None:
    """Energy: torque times two pi lifts the load by one pitch."""
    law = stud(2.0, friction=0.0)

    assert law.tightening_nm(1.0e5) == pytest.approx(1.0e5 * law.pitch_m / (2.0 * math.pi))


def test_a_nut_beyond_yield_gains_no_torque() -> None:
    """Perfectly plastic: the drive goes on, the torque stands."""
    law = stud(2.0, friction=0.07)
    line = tightening_line(law, Grip(0.0, 1.5e9), 3e-4, load_n_yield=6e5, static_ratio=1.0)
    top_nm = law.tightening_nm(6e5)

    assert line.torque_nm(1.0) == line.torque_nm(2.0) == top_nm
    assert line.turned_rad(2.0, 4e4) == pytest.approx(2.0 - top_nm / 4e4)


def test_a_loosened_nut_falls_to_its_running_torque() -> None:
    """Once the load is gone only the thread itself is felt."""
    law = stud(2.0, friction=0.07)
    line = loosening_line(law, Grip(0.0, 1.5e9), 4e-4, static_ratio=1.2)

    assert line.torque_nm(0.0) == pytest.approx(law.loosening_nm(6e5))
    assert line.static_nm == pytest.approx(1.2 * law.loosening_nm(6e5))
    assert line.torque_nm(3.0) == law.running_nm


def test_drive_and_nut_angles_differ_by_the_wind_up() -> None:
    """The tool is a spring in series: drive = nut + torque over stiffness, at every angle."""
    slack = TurningLine(500.0, 520.0, 2000.0, taken_rad=-0.1, snug=Snug(0.15))
    back = TurningLine(500.0, 520.0, -2000.0, taken_rad=0.4, snug=Snug(0.15))
    for line in (slack, back):
        for drive_rad in (0.05, 0.1, 0.13, 0.2, 0.25, 0.28, 0.4, 0.6):
            angle = line.turned_rad(drive_rad, 4e4)
            wound = angle + line.torque_nm(angle) / 4e4
            assert wound == pytest.approx(max(drive_rad, line.torque_nm(0.0) / 4e4))


def test_a_snug_nut_stiffens_with_what_it_was_turned_until_its_faces_lie_flat() -> None:
    """Finite differences; at touch the gap before it, which only closes, still counts for half."""
    snug, step = Snug(0.2), 1e-7

    def stiffness(turned: float) -> float:
        return (snug.pressed(turned + step) - snug.pressed(turned - step)) / (2.0 * step)

    at = (0.0, 0.1, 0.2, 0.7)
    assert [stiffness(one) for one in at] == pytest.approx([0.5, 0.5, 1.0, 1.0], abs=1e-5)
    assert stiffness(0.05) == pytest.approx(0.25)
    for turned in (-0.3, 0.0, 0.01, 0.1, 0.2, 0.5):
        assert snug.turned(snug.pressed(turned)) == pytest.approx(turned)


@pytest.mark.parametrize(
    ("lateral_mm", "lean_rad", "outcome"),
    [
        (0.5, 0.0, "entered"),
        (2.4, 0.0, "entered"),
        (3.0, 0.0, "stalled"),
        (6.0, 0.0, "never_entered"),
        (0.5, 0.06, "crossed"),
        (6.0, 0.06, "never_entered"),
    ],
)
def test_errors_decide_how_a_thread_starts(
    lateral_mm: float, lean_rad: float, outcome: str
) -> None:
    """Lead-in 0.6134 pitch + 0.5 mm = 2.45 mm, wall 1.6 mm further; 1.8 degrees cross."""
    assert START.start(lateral_mm * 1e-3, lean_rad).outcome == outcome


def test_the_further_off_a_bolt_stands_the_sooner_it_binds() -> None:
    """Order, not values: the share of the clearance left decides."""
    turns = [START.start(off * 1e-3, 0.0).stall_turns for off in (2.5, 3.0, 3.5, 4.0)]

    assert turns == sorted(turns, reverse=True)
    assert 0.5 <= turns[-1] < turns[0] <= 1.5


def test_turns_to_the_shoulder_are_engagement_over_pitch() -> None:
    """60 mm at 8 threads per inch."""
    assert turns_to_shoulder(0.060, INCH_M / 8.0) == pytest.approx(18.8976, abs=1e-4)


def test_the_play_of_a_socket_is_where_the_corner_meets_the_flat() -> None:
    """Oracle: the corner of a turned hexagon must stay within half the socket's flats."""
    play = FIT.play_rad(FIT.clearance_m)
    corner_m = FIT.across_flats_m / math.sqrt(3.0)

    reach_m = max(corner_m * math.cos(math.radians(60 * k + 30) + play) for k in range(6))

    assert reach_m == pytest.approx((FIT.across_flats_m + FIT.clearance_m) / 2.0)


def test_engagement_repeats_every_sixty_degrees() -> None:
    """Geometry of a six-point socket: worst re-index 30 degrees."""
    hits = [d for d in range(360) if FIT.drops(math.radians(d), 0.0)]

    assert hits == [d for d in range(360) if min(d % 60, 60 - d % 60) <= 3]


def test_a_socket_floats_down_within_a_sixth_from_any_angle() -> None:
    """A sound hex is always found in one sixth of a turn."""
    for start_deg in range(0, 360, 7):
        turned = FIT.floats_down(math.radians(start_deg), 0.3)
        assert 0.0 <= turned <= SIXTH_RAD
        assert FIT.drops(math.radians(start_deg) + turned, 0.3)


def test_a_burr_blocks_its_corner_only_when_it_takes_all_the_play() -> None:
    """Corner 0 is blocked at the full height; a lower burr leaves some play; corner 1 is free."""
    assert math.isnan(FIT.floats_down(0.0, 0.0, Burr(2.0e-3, 0)))
    assert FIT.floats_down(0.0, 0.0, Burr(0.5e-3, 0)) == 0.0
    assert FIT.floats_down(math.radians(10.0), 0.0, Burr(2.0e-3, 0)) == pytest.approx(
        math.radians(50.0)
    )


def test_wrench_torque_is_pressure_times_area_times_lever() -> None:
    """Derived: 70 MPa, 20 cm2, 0.10 m, efficiency 1 -> 14 000 N.m."""
    model = WrenchModel(piston_area_m2=20e-4, lever_m=0.10, efficiency=1.0)

    assert model.torque_nm(70e6) == pytest.approx(14_000.0)
    assert model.pressure_pa(14_000.0) == pytest.approx(70e6)


def test_a_camera_in_glare_trusts_itself_less_and_errs_more() -> None:
    """Confidence must mean something: the spread of the errors grows as it falls."""
    camera, spread, confidence = Camera(), {}, {}
    for glare in (0.0, 0.5):
        rng = random.Random(3)
        sights = [camera.look(rng, Pose(), light=Light(glare)) for _ in range(400)]
        spread[glare] = math.sqrt(sum(s.pose.x_m**2 for s in sights) / 400)
        confidence[glare] = sum(s.confidence for s in sights) / 400

    assert spread[0.0] == pytest.approx(0.15e-3, rel=0.15)
    assert spread[0.5] == pytest.approx(0.30e-3, rel=0.15)
    assert confidence[0.0] > 0.9 > 0.6 > confidence[0.5]


def test_a_long_move_takes_distance_over_speed_plus_one_ramp() -> None:
    """Oracle: the area under a trapezoid of 0.3 m/s and 0.3 m/s2; below 0.3 m it is a triangle."""
    assert move_s(3.0) == pytest.approx(3.0 / 0.3 + 1.0)
    assert move_s(0.3) == pytest.approx(2.0)
    assert move_s(0.075) == pytest.approx(1.0)


def test_each_side_has_its_own_bolts_before_it() -> None:
    """Fore stands at negative x; bolts run clockwise, opposite ones are 180 degrees apart."""
    layout = Layout.around(0.3, ("fore", "aft"), ("fore",) * 4 + ("aft",) * 4)
    points = [layout.point("fore", f"bolt.{bolt}") for bolt in range(1, 9)]

    assert all(point[0] < 0.0 for point in points[:4])
    assert all(point[0] > 0.0 for point in points[4:])
    assert math.dist(points[0], points[4]) == pytest.approx(0.6)
