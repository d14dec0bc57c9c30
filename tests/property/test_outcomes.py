"""Outcomes of the simulated world against geometry, energy and libraries that share no code."""

import itertools
import math
import random

import networkx as nx
import numpy as np
import pint
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.stats import binom

from coordinator.bolting.rounds import cross_order, two_tool_order
from sim_arms.physics.bolt import (
    SNUG,
    BoltLaw,
    advance_turned_m,
    loosening_line,
    tightening_line,
)
from sim_arms.physics.camera import WITHIN_M, Camera, Light, Pose
from sim_arms.physics.flange import FREE_ADVANCE_M, FlangeModel
from sim_arms.physics.rounds import pull_in_rounds
from sim_arms.physics.socket import HexFit
from sim_arms.physics.thread import ThreadStart
from sim_arms.physics.wrench import WrenchModel

UNITS: pint.UnitRegistry[float] = pint.UnitRegistry()
PITCH_M, AREA_M2 = 0.0254 / 8, 2.771 * 0.0254**2
LAW = BoltLaw(PITCH_M, (2.0 - 0.649519 / 8) * 0.0254, 0.0508, 3.125 * 0.0254, 0.07, 0.07, 5.08)
FLANGE = FlangeModel(8, 0.3015, 1.745e9, 64.0 * 1.745e9, seating_n=2.0e4)
TRIALS = 4000
RARE = 1e-6
"""A count further out than this would come once in a million drawings; the drawings are seeded."""


def is_likely(hits: int, chance: float) -> bool:
    """Whether a count of hits belongs to a chance, by the binomial distribution (SciPy)."""
    low, high = binom.interval(1.0 - RARE, TRIALS, chance)
    return bool(low <= hits <= high)


@pytest.mark.parametrize("clearance_mm", [0.2, 0.5, 0.8, 1.43, 2.0, 3.0])
def test_a_socket_seats_as_often_as_the_play_is_of_sixty_degrees(clearance_mm: float) -> None:
    """Hexes at random: the play to both sides, and the mouth, over the sixth that repeats.

    The play is found by turning a hexagon inside a hexagon until a corner touches (bisection).
    """
    flats_m, mouth_rad = 0.079375, math.radians(1.5)
    fit = HexFit(flats_m, clearance_mm * 1e-3, mouth_rad)
    rng = random.Random(f"seating {clearance_mm}")
    hits = sum(fit.drops(0.0, rng.uniform(0.0, math.tau)) for _ in range(TRIALS))

    low, high = 0.0, math.pi / 6.0
    for _ in range(60):
        turn = 0.5 * (low + high)
        corners = [turn + math.pi / 6.0 + k * math.pi / 3.0 for k in range(6)]
        reach = max(
            flats_m / math.sqrt(3.0) * math.cos(c - f * math.pi / 3.0)
            for c in corners
            for f in range(6)
        )
        low, high = (turn, high) if reach <= (flats_m + clearance_mm * 1e-3) / 2.0 else (low, turn)

    assert is_likely(hits, 2.0 * (low + mouth_rad) / (math.pi / 3.0))


@pytest.mark.parametrize("spread_mm", [0.5, 1.0, 2.0, 4.0])
def test_a_thread_enters_as_often_as_the_place_lies_in_its_lead_in(spread_mm: float) -> None:
    """Places normal along both axes: distance is Rayleigh; the lead-in is 0.6134 pitch + 0.5 mm."""
    start = ThreadStart(PITCH_M, 0.0508, 1.6e-3, 0.5e-3)
    rng = random.Random(f"entering {spread_mm}")
    outcomes = [
        start.start(
            math.hypot(rng.gauss(0, spread_mm), rng.gauss(0, spread_mm)) * 1e-3, 0.0
        ).outcome
        for _ in range(TRIALS)
    ]

    def inside(radius_m: float) -> float:
        return 1.0 - math.exp(-(radius_m**2) / (2.0 * (spread_mm * 1e-3) ** 2))

    lead_in_m = 0.6134 * PITCH_M + 0.5e-3
    assert is_likely(outcomes.count("entered"), inside(lead_in_m))
    assert is_likely(outcomes.count("never_entered"), 1.0 - inside(lead_in_m + 1.6e-3))


@pytest.mark.parametrize("light", [Light(), Light(glare=0.3), Light(glare=0.5), Light(blur=3.0)])
def test_the_confidence_of_a_camera_is_how_often_it_is_right(light: Light) -> None:
    """The share of looks within the distance that the confidence speaks of."""
    rng = random.Random(17)
    sights = [Camera().look(rng, Pose(), light=light) for _ in range(TRIALS)]
    right = sum(math.hypot(s.pose.x_m, s.pose.y_m) <= WITHIN_M for s in sights)

    told = sum(sight.confidence for sight in sights) / TRIALS
    assert right / TRIALS == pytest.approx(told, abs=0.025)


def test_the_load_of_a_pulled_nut_is_the_integral_of_its_stiffness_over_its_angle() -> None:
    """SciPy integrates load over angle, with the stiffness growing until the faces lie flat."""
    grip = FLANGE.grip([FREE_ADVANCE_M] * 8, 0)
    line = tightening_line(LAW, grip, 0.0, load_n_yield=1.29e6, static_ratio=1.0)

    def rate(angle_rad: float, load_n: np.ndarray) -> list[float]:
        turned_m = (angle_rad - line.slack_rad) * PITCH_M / math.tau
        share = min(1.0, max(0.0, turned_m / SNUG.wide)) if load_n[0] < 1.29e6 else 0.0
        return [share * grip.stiffness_n_m * PITCH_M / math.tau]

    angles = np.linspace(0.0, 2.0, 21)
    found = solve_ivp(rate, (0.0, 2.0), [0.0], t_eval=angles, max_step=1e-3)

    for angle, load_n in zip(angles, found.y[0], strict=True):
        lever = LAW.tightening_m
        assert line.torque_nm(float(angle)) == pytest.approx(5.08 + lever * load_n, rel=2e-3)


def faces_j(stiffness_n_m: float) -> float:
    """Return what the faces of a nut store until they lie flat, by hand.

    Over the zone the load is stiffness times u^2 / (2 w): its integral over the travel u is
    stiffness times w^2 / 6, of which bolt and joint hold w^2 / 8 and the faces the rest.
    """
    return stiffness_n_m * SNUG.wide**2 * (1.0 / 6.0 - 1.0 / 8.0)


def test_the_work_of_tightening_is_what_is_stored_and_what_friction_takes() -> None:
    """Energy: torque over angle is strain energy, running torque and both rubbing faces."""
    grip = FLANGE.grip([FREE_ADVANCE_M] * 8, 0)
    line = tightening_line(LAW, grip, grip.contact_m, load_n_yield=math.inf, static_ratio=1.0)
    end_rad = line.angle_rad(3000.0)
    work_j, _ = quad(line.torque_nm, 0.0, end_rad)
    load_n = LAW.load_n(3000.0)

    stored_j = 0.5 * load_n**2 / grip.stiffness_n_m + faces_j(grip.stiffness_n_m)
    smooth = BoltLaw(PITCH_M, LAW.pitch_diameter_m, 0.0508, LAW.across_flats_m, 0.0, 0.0)
    rubbed_j = (LAW.tightening_m - smooth.tightening_m) * stored_j * math.tau / PITCH_M
    assert work_j == pytest.approx(stored_j + rubbed_j + 5.08 * end_rad, rel=1e-6)
    assert 0.05 < stored_j / work_j < 0.25  # Of a greased stud most goes into rubbing.


def test_a_nut_turned_on_and_back_never_gives_back_more_than_it_took() -> None:
    """Energy: the way back costs work too, and it is less than the way on."""
    grip = FLANGE.grip([FREE_ADVANCE_M] * 8, 0)
    on = tightening_line(LAW, grip, grip.contact_m, load_n_yield=math.inf, static_ratio=1.0)
    end_rad = on.angle_rad(3000.0)
    there_m = advance_turned_m(grip, grip.contact_m, end_rad * PITCH_M / math.tau)
    back = loosening_line(LAW, grip, there_m, static_ratio=1.0)

    work_on_j, _ = quad(on.torque_nm, 0.0, end_rad)
    work_back_j, _ = quad(back.torque_nm, 0.0, end_rad)

    assert 0.0 < work_back_j < work_on_j
    load_n = LAW.load_n(3000.0)
    assert there_m - grip.contact_m == pytest.approx(load_n / grip.stiffness_n_m)
    stored_j = 0.5 * load_n**2 / grip.stiffness_n_m + faces_j(grip.stiffness_n_m)
    assert work_on_j - work_back_j == pytest.approx(2.0 * stored_j, rel=0.01)


def test_every_pull_keeps_its_signs() -> None:
    """PH3: A pull adds to its own bolt, takes off its neighbours; no bolt is ever below nought."""
    study = pull_in_rounds(
        FLANGE, [(b,) for b in cross_order(8)], 6.5e5, (0.3, 1.0), window=0.05, snug_n=2.6e4
    )
    before, turned = None, 0
    for pull in study.pulls:
        now = np.array(pull.state.loads_n)
        assert now.min() >= 0.0
        if before is not None:
            bolt = pull.bolts[0]
            change = now - before
            turned += change[bolt - 1] > 0.0
            if change[bolt - 1] == 0.0:
                assert now[bolt - 1] >= pull.load_n  # It carried enough already.
                assert not change.any()
            else:
                assert change[bolt - 1] > 0.0
                assert change[bolt % 8] < 0.0
                assert change[bolt - 2] < 0.0
        before = now
    assert turned > len(study.pulls) / 2


@pytest.mark.parametrize("count", [4, 6, 8, 12, 16, 20, 24, 32])
def test_the_pairs_of_two_tools_are_the_one_perfect_matching_of_opposite_bolts(count: int) -> None:
    """Networkx finds the matching of the graph in which only opposite bolts are joined."""
    graph = nx.Graph((bolt, (bolt - 1 + count // 2) % count + 1) for bolt in range(1, count + 1))

    matching = nx.max_weight_matching(graph, maxcardinality=True)

    pairs = two_tool_order(count)
    assert {frozenset(pair) for pair in pairs} == {frozenset(pair) for pair in matching}
    assert all(b - a == count // 2 for a, b in pairs)


@pytest.mark.parametrize("count", [8, 12, 16, 20, 24, 32])
def test_no_pair_follows_its_neighbour_pair_in_the_order_of_two_tools(count: int) -> None:
    """Around the ring of axes the order never steps to the axis next door but at its very end."""
    half = count // 2
    ring = nx.cycle_graph(half)
    axes = [(first - 1) % half for first, _ in two_tool_order(count)]
    steps = [nx.shortest_path_length(ring, a, b) for a, b in itertools.pairwise(axes)]

    assert sorted(axes) == list(range(half))
    assert steps[0] == half // 2  # A quarter turn on.
    assert steps.count(1) <= half // 3


def test_the_wrench_agrees_with_pint_in_the_units_of_the_trade() -> None:
    """3000 psi through 3.3 : 1 on 16 cm2 at 80 mm and 0.9 is 7863 N·m, 5800 lbf·ft."""
    torque = (3000 * UNITS.psi * 3.3 * (16 * UNITS.cm**2) * (80 * UNITS.mm) * 0.9).to(
        UNITS.newton * UNITS.meter
    )
    supply_pa = (3000 * UNITS.psi).to(UNITS.pascal).magnitude

    assert WrenchModel().reachable_nm(supply_pa) == pytest.approx(torque.magnitude)
    in_trade = torque.to(UNITS.force_pound * UNITS.foot).magnitude
    assert in_trade == pytest.approx(5800.0, abs=1.0)


@pytest.mark.parametrize("turned", range(8))
def test_a_flange_turned_by_whole_bolts_shares_its_loads_alike(turned: int) -> None:
    """Symmetry: which bolt is called the first cannot matter."""
    advance = [6e-4, 5e-4, 3e-4, 5e-5, 2e-5, 4e-5, 3e-4, 5e-4]
    state = FLANGE.settle(advance)
    again = FLANGE.settle(advance[turned:] + advance[:turned])

    loads = state.loads_n[turned:] + state.loads_n[:turned]
    assert again.loads_n == pytest.approx(loads, rel=1e-6, abs=1.0)
    assert again.gap_m == pytest.approx(state.gap_m, rel=1e-6, abs=1e-12)
