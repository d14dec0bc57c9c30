"""Lifting faces, a given influence matrix, and loads pull by pull, against other solutions."""

import math
import random

import numpy as np
import pytest
from scipy.optimize import minimize

from sim_arms.physics.flange import FREE_ADVANCE_M, FlangeModel, advance_for
from sim_arms.physics.influence import InfluenceModel, solve
from sim_arms.physics.rounds import pull_in_rounds, pull_together, spread

BOLT_N_M = 1.0e9
RADIUS_M = 0.3
RING_N_M = 64.0 * BOLT_N_M
PARTS = 3600


def lowest_energy_loads(advance_m: list[float], seating_n: float) -> list[float]:
    """Minimise the stored energy of bolts and a ring of many springs that only push (SciPy)."""
    count = len(advance_m)
    bolts = np.stack(_shape(2.0 * np.pi * np.arange(count) / count), axis=1)
    ring = np.stack(_shape(2.0 * np.pi * (np.arange(PARTS) + 0.5) / PARTS), axis=1)
    each, rest, unit = RING_N_M / PARTS, seating_n / RING_N_M, 1e-5
    advances = np.array(advance_m)

    def energy(scaled: np.ndarray) -> tuple[float, np.ndarray]:
        plate = scaled * unit
        stretch = np.maximum(0.0, advances - bolts @ plate)
        pressed = np.maximum(0.0, ring @ plate + rest)
        stored = BOLT_N_M * stretch @ stretch / 2 + each * pressed @ pressed / 2
        slope = each * ring.T @ pressed - BOLT_N_M * bolts.T @ stretch
        slope[0] -= seating_n
        return (stored - seating_n * plate[0]) * 1e3, slope * unit * 1e3

    found = minimize(energy, np.zeros(3), jac=True, method="BFGS", options={"gtol": 1e-9})
    return [float(f) for f in BOLT_N_M * np.maximum(0.0, advances - bolts @ (found.x * unit))]


def _shape(angle: np.ndarray) -> list[np.ndarray]:
    return [np.ones(len(angle)), np.cos(angle), np.sin(angle)]


@pytest.mark.parametrize("count", [4, 6, 8, 12])
def test_faces_that_lift_off_share_the_load_as_the_lowest_energy_does(count: int) -> None:
    """Random advances on one side, so that the other side gapes."""
    rng = random.Random(count)
    model = FlangeModel(count, RADIUS_M, BOLT_N_M, RING_N_M, seating_n=2.0e4)
    gaped = 0
    for _ in range(6):
        advance = [
            rng.uniform(1e-4, 6e-4) if index < count // 2 else rng.uniform(-2e-5, 1e-5)
            for index in range(count)
        ]

        state = model.settle(advance)

        gaped += state.gap_m > 0.0
        assert state.loads_n == pytest.approx(lowest_energy_loads(advance, 2.0e4), rel=2e-3, abs=60)
    assert gaped >= 5


def test_faces_that_bear_all_round_share_the_load_as_the_closed_form_does() -> None:
    """With a seating load that keeps the whole ring closed nothing differs."""
    advance = [4e-4, 5e-4, 4.5e-4, 5e-4, 4e-4, 4.2e-4, 5e-4, 5e-4]
    both_ways = FlangeModel(8, RADIUS_M, BOLT_N_M, RING_N_M)
    pushing = FlangeModel(8, RADIUS_M, BOLT_N_M, RING_N_M, seating_n=2.0e4)

    assert pushing.settle(advance) == both_ways.settle(advance)
    assert pushing.settle(advance).bearing_share == 1.0


def test_a_bolt_pulled_alone_on_one_side_opens_a_gap_on_the_other() -> None:
    """The closed form would let the ring pull there, which no face does."""
    advance = [5e-4, 2e-5, 2e-5, 2e-5, 2e-5, 2e-5, 2e-5, 2e-5]
    pushing = FlangeModel(8, RADIUS_M, BOLT_N_M, RING_N_M, seating_n=2.0e4).settle(advance)
    both_ways = FlangeModel(8, RADIUS_M, BOLT_N_M, RING_N_M).settle(advance)

    assert pushing.gap_m > 1e-6
    assert 0.0 < pushing.bearing_share < 1.0
    assert math.hypot(pushing.tilt_x_rad, pushing.tilt_y_rad) > both_ways.tilt_x_rad


@pytest.mark.parametrize("seating_n", [None, 2.0e4])
def test_the_plate_is_in_balance(seating_n: float | None) -> None:
    """Invariant: work done by a small turn of one nut is the load times the advance."""
    model = FlangeModel(8, RADIUS_M, BOLT_N_M, RING_N_M, seating_n)
    advance = [6e-4, 5e-4, 3e-4, 5e-5, 2e-5, 4e-5, 3e-4, 5e-4]
    step_m = 1e-9

    line = model.grip(advance, 2)
    before = model.settle(advance).loads_n[2]
    advance[2] += step_m
    after = model.settle(advance).loads_n[2]

    assert line.load_n(advance[2] - step_m) == pytest.approx(before, rel=1e-6)
    assert (after - before) / step_m == pytest.approx(line.stiffness_n_m, rel=1e-3)


def round_matrix() -> tuple[tuple[float, ...], ...]:
    """Return a matrix of four bolts: 10 % off both neighbours, 2 % more on the bolt across."""
    takes = {0: 1.0, 1: -0.1, 2: 0.02, 3: -0.1}
    return tuple(tuple(takes[(row - column) % 4] for column in range(4)) for row in range(4))


def test_a_given_matrix_says_what_each_bolt_gains_while_all_nuts_stand() -> None:
    """10 % off both neighbours, 2 % more on the bolt across, for 1 kN on one nut after another."""
    model = InfluenceModel(round_matrix(), RADIUS_M, BOLT_N_M)
    advances = [5e-4] * 4
    for bolt in range(4):
        before = np.array(model.settle(advances).loads_n)
        advances[bolt] += 1.0e3 / BOLT_N_M
        gained = np.array(model.settle(advances).loads_n) - before

        expected = [1.0e3 * row[bolt] for row in round_matrix()]
        assert gained == pytest.approx(expected, abs=1e-3)


def ring_matrix(count: int) -> tuple[tuple[float, ...], ...]:
    """Return the influence matrix of a rigid plate on a ring, by NumPy, for our stiffnesses."""
    angle = 2.0 * np.pi * np.arange(count) / count
    gives = (1.0 + 2.0 * np.cos(angle[:, None] - angle[None, :])) / RING_N_M
    stiffness = np.linalg.inv(gives + np.eye(count) / BOLT_N_M)
    return tuple(tuple(map(float, row)) for row in stiffness / np.diag(stiffness)[None, :])


def test_the_matrix_of_a_ring_gives_the_loads_of_the_ring() -> None:
    """Two ways of saying the same flange: advances differ by the face's own give, loads do not."""
    matrix = ring_matrix(8)
    own_n_m = 1.0 / (1.0 / BOLT_N_M + 3.0 / RING_N_M)
    model = InfluenceModel(matrix, RADIUS_M, own_n_m)
    shares = (0.3, 0.6, 1.0)
    pairs = [(1, 5), (3, 7), (2, 6), (4, 8)]

    given = pull_in_rounds(model, pairs, 5e5, shares, window=0.02, snug_n=2e4)
    ring = pull_in_rounds(
        FlangeModel(8, RADIUS_M, BOLT_N_M, RING_N_M), pairs, 5e5, shares, window=0.02, snug_n=2e4
    )

    assert given.rounds_needed == ring.rounds_needed
    for mine, theirs in zip(given.round_loads_n, ring.round_loads_n, strict=True):
        assert mine == pytest.approx(theirs, rel=5e-3)


def test_the_line_of_one_nut_meets_the_settled_load_of_the_matrix() -> None:
    """A pull follows the line; all replicas settle: they must not part."""
    model = InfluenceModel(ring_matrix(8), RADIUS_M, BOLT_N_M)
    advance = [4e-4, 5e-4, FREE_ADVANCE_M, 5e-4, 4e-4, 4.2e-4, 5e-4, 5e-4]

    line = model.grip(advance, 3)
    advance[3] = 7e-4

    assert line.load_n(7e-4) == pytest.approx(model.settle(advance).loads_n[3], rel=1e-9)
    assert model.settle(advance).loads_n[2] == 0.0
    wanted = [6.0e5 + 1.0e4 * bolt for bolt in range(8)]
    assert model.settle(model.advances_for(wanted)).loads_n == pytest.approx(wanted)


def test_elimination_agrees_with_numpy() -> None:
    """Random systems, of which one needs its rows exchanged."""
    rng = np.random.default_rng(7)
    for size in (1, 2, 5, 12):
        matrix = rng.normal(size=(size, size))
        matrix[0, 0] = 0.0 if size > 1 else 2.0
        right = rng.normal(size=(size, 3))

        found = solve(matrix.tolist(), right.tolist())

        assert np.array(found) == pytest.approx(np.linalg.solve(matrix, right))


def test_opposite_bolts_together_tilt_the_flange_less_than_one_side_after_the_other() -> None:
    """Why opposite bolts are pulled together at all; it saves the tilt, not the scatter."""
    model = FlangeModel(8, RADIUS_M, BOLT_N_M, RING_N_M, seating_n=2.0e4)
    across = [(1, 5), (3, 7), (2, 6), (4, 8)]
    around = [(bolt,) for bolt in range(1, 9)]

    ways = {
        name: pull_in_rounds(model, groups, 5e5, (1.0,), window=0.02, snug_n=2e4)
        for name, groups in (("across", across), ("around", around))
    }
    tilt = {
        name: max(math.hypot(p.state.tilt_x_rad, p.state.tilt_y_rad) for p in study.pulls)
        for name, study in ways.items()
    }

    assert tilt["across"] < 0.05 * tilt["around"]
    assert max(pull.state.gap_m for pull in ways["around"].pulls) > 0.0
    assert max(pull.state.gap_m for pull in ways["across"].pulls) == 0.0


def test_more_rounds_bring_every_load_into_the_window_and_are_counted() -> None:
    """PH4: every pull repairs what others took off; the count is the first that is enough."""
    model = FlangeModel(8, RADIUS_M, BOLT_N_M, RING_N_M, seating_n=2.0e4)
    pairs = [(1, 5), (3, 7), (2, 6), (4, 8)]

    study = pull_in_rounds(model, pairs, 5e5, (0.3, 0.6, 1.0), window=0.001, snug_n=2e4)

    needed = study.rounds_needed
    assert needed is not None
    assert needed > 3
    spreads = [spread(loads, 5e5) for loads in study.round_loads_n]
    assert [one <= 0.001 for one in spreads[2:]] == [False] * (needed - 3) + [True]
    assert all(
        pull.state.loads_n[b - 1] >= 0.999 * pull.load_n for pull in study.pulls for b in pull.bolts
    )


def test_two_opposite_bolts_one_after_the_other_end_as_derived_by_the_same_pulls() -> None:
    """Derived by two independent routes for this project: 1 + a/(1 + 3a), a = 1/20."""
    model = FlangeModel(2, RADIUS_M, BOLT_N_M, 20.0 * BOLT_N_M)
    advances = [FREE_ADVANCE_M] * 2

    pull_together(model, advances, (1,), 1.0)
    pull_together(model, advances, (2,), 1.0)

    assert model.settle(advances).loads_n == pytest.approx((1.043478, 1.0), abs=1e-5)
    assert advance_for(model, advances, 0, 2.0) > advances[0]


@pytest.mark.parametrize(
    ("order", "kept"),
    [((1, 3, 2, 4), (82.0, 102.0, 80.0, 100.0)), ((1, 2, 3, 4), (82.0, 92.0, 90.0, 100.0))],
)
def test_what_four_bolts_keep_of_a_hundred_newtons_each_follows_from_their_coefficients(
    order: tuple[int, ...], kept: tuple[float, ...]
) -> None:
    """Derived by two independent routes for this project: 10 % off neighbours, 2 % across."""
    rows = tuple(tuple((1.0, -0.1, 0.02, -0.1)[(i - j) % 4] for j in range(4)) for i in range(4))
    model = InfluenceModel(rows, RADIUS_M, BOLT_N_M)
    advances = list(model.advances_for([1000.0] * 4))
    when_pulled = {}
    for bolt in order:
        before_n = model.settle(advances).loads_n[bolt - 1]
        advances[bolt - 1] = advance_for(model, advances, bolt - 1, before_n + 100.0)
        when_pulled[bolt] = model.settle(advances).loads_n[bolt - 1]
    ended = model.settle(advances).loads_n

    found = [100.0 + ended[bolt - 1] - when_pulled[bolt] for bolt in (1, 2, 3, 4)]
    assert found == pytest.approx(kept, abs=1e-6)
