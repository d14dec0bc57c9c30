"""Calibration tables and the planning distance over their whole range."""

import pytest

from coordinator.bolting.hydraulics import CalibrationTable
from coordinator.bolting.separation import field_distance_m

TABLE = CalibrationTable((5.0e6, 20.0e6, 45.0e6, 70.0e6), (800.0, 3900.0, 9100.0, 14000.0))


def test_table_returns_its_own_rows() -> None:
    """The measured points are exact, also the first and the last."""
    found_nm = tuple(TABLE.torque_nm(pressure_pa) for pressure_pa in TABLE.pressures_pa)

    assert found_nm == pytest.approx(TABLE.torques_nm)


def test_reading_a_table_back_returns_the_pressure() -> None:
    """BT9: the pressure that a torque asks for must make that torque; 131 points, end to end."""
    pressures_pa = [5.0e6 + 0.5e6 * step for step in range(131)]

    torques_nm = [TABLE.torque_nm(pressure_pa) for pressure_pa in pressures_pa]

    assert torques_nm == sorted(torques_nm)
    assert [TABLE.pressure_pa(torque_nm) for torque_nm in torques_nm] == pytest.approx(pressures_pa)


def test_halfway_between_rows_lies_halfway_in_torque() -> None:
    """Straight lines between the rows: 32.5 MPa is midway from 20 to 45."""
    assert TABLE.torque_nm(32.5e6) == pytest.approx((3900.0 + 9100.0) / 2.0)


def test_planning_distance_never_falls_when_time_or_resolution_grows() -> None:
    """BT11: a slower stop or a coarser field may not ask for less room, also across the limits."""
    times_s = [0.01 * step for step in range(1, 101)]
    resolutions_m = [0.001 * step for step in range(1, 71)]

    table = [[field_distance_m(time_s, size_m) for size_m in resolutions_m] for time_s in times_s]

    assert all(row == sorted(row) for row in table)
    assert all(list(column) == sorted(column) for column in zip(*table, strict=True))
