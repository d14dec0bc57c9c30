"""The flange: figures derived elsewhere, an independent dense solution, and one-sided bolts."""

import random

import numpy as np
import pytest

from sim_arms.physics.flange import FREE_ADVANCE_M, FlangeModel, advance_for

BOLT_N_M = 1.0e9
RADIUS_M = 0.3


def tighten(model: FlangeModel, groups: list[list[int]]) -> tuple[float, ...]:
    """Bring groups of bolts to load one, group after group, and return the loads in newton."""
    advance = [FREE_ADVANCE_M] * model.bolt_count
    for group in groups:
        for _ in range(60):  # The bolts of a group rise together, so they settle by turns.
            for bolt in group:
                advance[bolt] = advance_for(model, advance, bolt, 1.0)
    return model.settle(advance).loads_n


def test_two_opposite_bolts_one_after_the_other_match_the_derived_figure() -> None:
    """Derived by two independent routes for this project: 1 + a/(1 + 3a) with a = 1/20."""
    loads = tighten(FlangeModel(2, RADIUS_M, BOLT_N_M, 20.0 * BOLT_N_M), [[0], [1]])

    assert loads == pytest.approx((1.043478, 1.0), abs=1e-6)


def test_four_bolts_in_cross_order_match_the_derived_figures() -> None:
    """Derived by two independent routes for this project; in the order of the bolts.

    Bolt 4 comes last and lies opposite bolt 2, so it is bolt 2 that ends above one.
    """
    loads = tighten(FlangeModel(4, RADIUS_M, BOLT_N_M, 20.0 * BOLT_N_M), [[0], [2], [1], [3]])

    assert loads == pytest.approx((0.950405, 1.047619, 0.906926, 1.0), abs=1e-6)


def test_four_bolts_in_opposed_pairs_match_the_derived_figures() -> None:
    """Derived by two independent routes for this project: 1 - 2a/(1 + 2a) with a = 1/20."""
    loads = tighten(FlangeModel(4, RADIUS_M, BOLT_N_M, 20.0 * BOLT_N_M), [[0, 2], [1, 3]])

    assert loads == pytest.approx((0.909091, 1.0, 0.909091, 1.0), abs=1e-6)


@pytest.mark.parametrize("count", [2, 4, 6, 8, 12, 20])
def test_the_loads_equal_those_of_a_dense_solution(count: int) -> None:
    """The oracle solves bolts and plate as one linear system and drops bolts that would push."""
    rng = random.Random(count)
    model = FlangeModel(count, RADIUS_M, BOLT_N_M, 15.0 * BOLT_N_M)
    for _ in range(20):
        advance = [rng.uniform(-2e-4, 6e-4) for _ in range(count)]

        state = model.settle(advance)

        assert state.loads_n == pytest.approx(dense_loads(advance, 15.0 * BOLT_N_M), abs=1e-3)
        assert min(state.loads_n) >= 0.0


def dense_loads(advance_m: list[float], ring_n_m: float) -> list[float]:
    """Minimise the stored energy with NumPy, bolt by bolt out of the active set."""
    count = len(advance_m)
    angle = 2.0 * np.pi * np.arange(count) / count
    shape = np.stack([np.ones(count), np.cos(angle), np.sin(angle)], axis=1)
    ring = np.diag([ring_n_m, ring_n_m / 2.0, ring_n_m / 2.0])
    advances = np.array(advance_m)
    plate = np.zeros(3)
    for _ in range(200):  # Newton on a convex function, damped by halves.
        stretch = np.maximum(0.0, advances - shape @ plate)
        gradient = ring @ plate - BOLT_N_M * shape.T @ stretch
        held = shape[stretch > 0.0]
        plate = plate - 0.5 * np.linalg.solve(ring + BOLT_N_M * held.T @ held, gradient)
    return [float(load) for load in BOLT_N_M * np.maximum(0.0, advances - shape @ plate)]


def test_advances_for_given_loads_give_back_those_loads() -> None:
    """A joint that begins made up must carry what it is said to carry."""
    model = FlangeModel(8, RADIUS_M, BOLT_N_M, 40.0 * BOLT_N_M)
    wanted = [6.0e5 + 1.0e4 * bolt for bolt in range(8)]

    assert model.settle(model.advances_for(wanted)).loads_n == pytest.approx(wanted)


def test_one_sided_tightening_tilts_the_plate_towards_the_bolt() -> None:
    """The first bolt lies on the x axis, so only the tilt along x grows."""
    model = FlangeModel(8, RADIUS_M, BOLT_N_M, 40.0 * BOLT_N_M)

    state = model.settle([5e-4] + [FREE_ADVANCE_M] * 7)

    assert state.tilt_x_rad > 1e-6
    assert state.tilt_y_rad == pytest.approx(0.0, abs=1e-12)


def test_the_line_of_one_nut_meets_the_settled_load() -> None:
    """A pull follows the line; all replicas settle: they must not part."""
    model = FlangeModel(8, RADIUS_M, BOLT_N_M, 40.0 * BOLT_N_M)
    advance = [4e-4, 5e-4, 4.5e-4, 5e-4, 4e-4, 4.2e-4, 5e-4, 5e-4]

    line = model.grip(advance, 3)
    advance[3] = 7e-4

    assert line.load_n(7e-4) == pytest.approx(model.settle(advance).loads_n[3], rel=1e-9)
