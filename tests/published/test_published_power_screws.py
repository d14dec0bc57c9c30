"""Power screws against worked examples of three textbooks."""

from math import pi

import pytest
from scipy import constants

from coordinator.bolting.power_screws import (
    PowerScrew,
    lowering_torque_nm,
    raising_efficiency,
    raising_torque_nm,
    square_screw,
)
from coordinator.bolting.torque import ring_bearing_diameter_m


def test_double_start_screw_agrees_with_the_textbook() -> None:
    """Shigley, 9th ed., Ex. 8-1 (reprint): raise 26.18, lower 9.77 N m, efficiency 0.311; 0.05 %.

    The efficiency is printed with three digits, so it is held to 0.2 %.
    """
    screw = square_screw(0.032, 0.004, 2, 0.08, collar_friction=0.08, collar_diameter_m=0.040)

    assert raising_torque_nm(screw, 6400.0) == pytest.approx(26.18, rel=5e-4)
    assert lowering_torque_nm(screw, 6400.0) == pytest.approx(9.77, rel=5e-4)
    assert raising_efficiency(screw) == pytest.approx(0.311, rel=2e-3)


def test_triple_start_screw_agrees_with_the_published_solution() -> None:
    """Bhandari, Design of Machine Elements, Ex. 6.1, published Scilab solutions; 1e-6."""
    collar_m = ring_bearing_diameter_m(0.100, 0.065)
    screw = square_screw(0.050, 0.008, 3, 0.15, collar_friction=0.15, collar_diameter_m=collar_m)

    assert raising_torque_nm(screw, 15000.0) * 1e3 == pytest.approx(204644.14, rel=1e-6)
    assert lowering_torque_nm(screw, 15000.0) * 1e3 == pytest.approx(87401.51, rel=1e-6)


def test_screw_jack_agrees_with_the_statics_textbook() -> None:
    """Housner and Hudson, Applied Mechanics: Statics, problem 5.6.1-2: 2840 lbf in; 0.1 %."""
    screw = PowerScrew(2.0 * constants.inch, 0.5 * constants.inch, 0.2)

    torque_nm = raising_torque_nm(screw, 10000.0 * constants.lbf)

    assert torque_nm / (constants.lbf * constants.inch) == pytest.approx(2840.0, rel=1e-3)


@pytest.mark.parametrize("friction", [0.05, 0.1, 0.2, 0.4])
@pytest.mark.parametrize("lead_share", [0.1, 0.5, 1.0])
def test_a_self_locking_screw_is_at_most_half_efficient(friction: float, lead_share: float) -> None:
    """Housner and Hudson, problem 5.6.1-3: the most efficient self-locking screw reaches 50 %."""
    limit_m = friction * pi * 0.03

    screw = PowerScrew(0.03, 0.999 * lead_share * limit_m, friction)

    assert screw.is_self_locking
    assert raising_efficiency(screw) < 0.5
