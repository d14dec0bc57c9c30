"""Windows of a verdict: angle, pressure, slope, confirmations and calibration."""

from dataclasses import replace

import numpy as np
import pytest

from coordinator.records.course import count_confirmations, slope_nm_per_rad
from coordinator.records.verdict import Evidence, Reason, Verdict, judge
from coordinator.records.windows import Bounds, Calibration, Calibrations, Window, Windows
from coordinator.wire.messages import Trace

TRACE = Trace(
    (0.0, 1.0, 2.0, 3.0), (100.0, 600.0, 800.0, 1000.0), (1e6, 6e6, 8e6, 1e7), (0.0, 0.5, 0.7, 0.9)
)
GOOD = Evidence("pull", "finished", 1000.0, 1000.0, TRACE, 1e7, 0.9, "fore", "wrench", "2030-01-02")
WITH = Windows(
    kinds=(("pull", Window(Bounds(0.5, 1.0), Bounds(9e6, 1.1e7), Bounds(900.0, 1100.0), 1)),)
)


def test_a_record_inside_every_window_is_accepted() -> None:
    """Bounds are still good themselves."""
    assert judge(GOOD, WITH).verdict == Verdict.ACCEPTED
    assert judge(replace(GOOD, angle_rad=0.5), WITH).verdict == Verdict.ACCEPTED


@pytest.mark.parametrize(
    ("change", "reason", "verdict"),
    [
        ({"angle_rad": 0.49}, Reason.ANGLE_BELOW, Verdict.REJECTED),
        ({"angle_rad": 1.01}, Reason.ANGLE_ABOVE, Verdict.REJECTED),
        ({"angle_rad": None}, Reason.ANGLE_MISSING, Verdict.NOT_DECIDABLE),
        ({"pressure_pa": 8e6}, Reason.PRESSURE_BELOW, Verdict.REJECTED),
        ({"pressure_pa": 2e7}, Reason.PRESSURE_ABOVE, Verdict.REJECTED),
        ({"pressure_pa": float("nan")}, Reason.PRESSURE_MISSING, Verdict.NOT_DECIDABLE),
    ],
)
def test_a_figure_outside_its_window_rejects_and_a_missing_one_leaves_it_open(
    change: dict[str, float | None], reason: Reason, verdict: Verdict
) -> None:
    """What was not measured speaks neither for nor against."""
    made = judge(replace(GOOD, **change), WITH)  # type: ignore[arg-type]  # fields by name

    assert (made.reasons, made.verdict) == ((reason,), verdict)


def test_the_slope_is_the_least_squares_line_through_the_last_rise() -> None:
    """The oracle is numpy's fit of the same samples."""
    angle = [0.0, 0.1, 0.2, 0.3, 0.4, 0.45]
    torque = [100.0, 560.0, 700.0, 790.0, 940.0, 1000.0]

    slope = slope_nm_per_rad(torque, angle)

    assert slope == pytest.approx(np.polyfit(angle[1:5], torque[1:5], 1)[0])
    assert slope_nm_per_rad((), ()) is None
    assert slope_nm_per_rad((1.0, 2.0), (0.0,)) is None
    assert slope_nm_per_rad((900.0, 950.0, 1000.0), (0.1, 0.1, 0.1)) is None


def test_a_confirmation_counts_once_until_the_tool_has_let_go() -> None:
    """Holding the pressure is one confirmation, stroking again after letting go is another."""
    held = (0.0, 990.0, 1000.0, 960.0, 1000.0)

    assert count_confirmations(held, 1000.0, 0.05) == 1
    assert count_confirmations((*held, 100.0, 960.0), 1000.0, 0.05) == 2
    assert count_confirmations((), 1000.0, 0.05) == 0
    twice = Windows(kinds=(("pull", Window(confirmations=2)),))
    assert judge(GOOD, twice).reasons == (Reason.CONFIRMATIONS_MISSING,)


@pytest.mark.parametrize(
    ("known", "reasons"),
    [
        (Calibration("fore", "wrench", "2029-01-01", "2030-01-02"), ()),
        (Calibration("fore", "wrench", "2029-01-01", "2030-01-01"), (Reason.CALIBRATION_PAST,)),
        (Calibration("fore", "wrench"), (Reason.CALIBRATION_MISSING,)),
        (Calibration("aft", "wrench", "", "2031-01-01"), (Reason.CALIBRATION_MISSING,)),
    ],
)
def test_a_tool_without_a_calibration_that_counts_decides_nothing(
    known: Calibration, reasons: tuple[Reason, ...]
) -> None:
    """A figure is worth what the tool behind it is; the last day still counts."""
    assert judge(GOOD, Windows(), Calibrations((known,))).reasons == reasons


def test_windows_come_back_from_the_store_as_they_went() -> None:
    """What a record was judged by years ago must be readable."""
    assert Windows.from_data(WITH.to_data()) == WITH
