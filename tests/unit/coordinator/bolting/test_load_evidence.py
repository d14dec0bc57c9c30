"""The load of a bolt beside that of the others, by turn, torque and slope."""

import math

import numpy as np
import pytest

from coordinator.bolting.errors import BoltingError
from coordinator.bolting.load_evidence import BoltReadings, Ring, Scatter, compare_loads
from tests.support.tightened_joints import ring_matrix

GOOD = BoltReadings(math.radians(60.0), 3000.0, 2800.0)


@pytest.mark.parametrize("count", [6, 8, 20])
@pytest.mark.parametrize("ratio", [0.5, 5.0, 50.0])
def test_the_closed_form_of_the_ring_is_that_of_its_matrices(count: int, ratio: float) -> None:
    """A rigid plate on an even ring, solved by numpy, up to the common factor."""
    turns = np.random.default_rng(count).uniform(0.2, 1.4, count)

    found = np.array(Ring(ratio).loads(list(map(float, turns))))

    wanted = ring_matrix(count, ratio) @ turns
    assert found / found[0] == pytest.approx(wanted / wanted[0], rel=1e-9)


def test_an_influence_matrix_stands_for_the_ring() -> None:
    """Each row gives what a bolt gains for one more on every other."""
    rows = tuple(tuple(1.0 if i == j else -0.1 for j in range(4)) for i in range(4))

    assert Ring(8.0, rows).loads([1.0, 1.0, 1.0, 2.0]) == pytest.approx([0.6, 0.6, 0.6, 1.7])


def test_bt12_two_like_outliers_do_not_hide_each_other() -> None:
    """BT12: the median of the others stands where their mean would move."""
    weak = BoltReadings(math.radians(35.0), 3000.0, 4700.0)
    loads = compare_loads([weak, GOOD, GOOD, GOOD, weak, GOOD, GOOD, GOOD], Ring(5.0), Scatter())

    told = [place for place, load in enumerate(loads, 1) if load and load.is_outlier]
    assert told == [1, 5]


def test_turn_and_slope_that_tell_different_loads_are_told_apart() -> None:
    """A nut that turned as the others while the slope fell: it settled, or it galls."""
    odd = BoltReadings(GOOD.turn_rad, 3000.0, 2000.0)
    loads = compare_loads([odd, *[GOOD] * 7], Ring(5.0), Scatter())

    assert [load.disagrees for load in loads if load] == [True] + [False] * 7


def test_a_bolt_without_turn_is_judged_by_its_slope_and_one_without_both_is_not() -> None:
    """Whatever was not read says nothing."""
    readings = [BoltReadings(None, 3000.0, 5200.0), BoltReadings(None, None, None), *[GOOD] * 6]
    first, second, *rest = compare_loads(readings, Ring(5.0), Scatter())

    assert first is not None
    assert first.is_outlier
    assert first.share == pytest.approx(2800.0 / 5200.0, rel=1e-6)
    assert second is None
    assert not any(load is None or load.is_outlier for load in rest)


def test_what_cannot_be_compared_is_refused() -> None:
    """Three bolts have no median of the others worth the name; a scatter is a share."""
    with pytest.raises(BoltingError, match="there are 3 bolts, must be at least 4"):
        compare_loads([GOOD] * 3, Ring(5.0), Scatter())
    with pytest.raises(BoltingError, match="scatter of friction"):
        Scatter(friction=1.2)
