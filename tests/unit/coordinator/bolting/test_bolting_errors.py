"""What the bolting package refuses: each code once, with the value and the way out."""

import re
from collections.abc import Callable
from math import inf, nan

import pytest

from coordinator.bolting.errors import BOLTING_ERROR_CODES, BoltingError
from coordinator.bolting.grades import bolt_grade, nut_grade, nut_proof_load_n
from coordinator.bolting.hexes import metric_across_flats_m
from coordinator.bolting.hydraulics import CalibrationTable
from coordinator.bolting.rounds import cross_order
from coordinator.bolting.scatter import FrictionBand, fraction_band_n, mean_and_deviation
from coordinator.bolting.separation import field_distance_m
from coordinator.bolting.threads import parse_thread
from coordinator.bolting.torque import (
    Friction,
    overall_friction,
    ring_bearing_diameter_m,
    short_form_torque_nm,
)

BLUNT = Friction(0.2, 0.2)
SLICK = Friction(0.1, 0.1)
MISUSES: list[tuple[str, str, Callable[[], object]]] = [
    ("BLT001", "'bolt'", lambda: parse_thread("bolt")),
    ("BLT001", "''", lambda: parse_thread("")),
    ("BLT001", "'1 2-8UN'", lambda: parse_thread("1 2-8UN")),
    ("BLT001", "'1/0-8UN'", lambda: parse_thread("1/0-8UN")),
    ("BLT001", "'2-8'", lambda: parse_thread("2-8")),
    ("BLT001", "'M30x'", lambda: parse_thread("M30x")),
    ("BLT002", "'M31'.*M30 and M33", lambda: parse_thread("M31")),
    ("BLT002", "'M30x2.7'.*M30x3.5, M30x3", lambda: parse_thread("M30x2.7")),
    ("BLT002", "'M72'.*M72x6", lambda: parse_thread("M72")),
    ("BLT002", "'M0'", lambda: parse_thread("M0")),
    ("BLT002", "'M999'.*M68", lambda: parse_thread("M999")),
    ("BLT002", "'1-9UNC'.*8 per inch", lambda: parse_thread("1-9UNC")),
    ("BLT002", "'2-12UNF'.*no size", lambda: parse_thread("2-12UNF")),
    ("BLT002", "'1/2-8UN'", lambda: parse_thread("1/2-8UN")),
    ("BLT002", "'1.3-8UN'", lambda: parse_thread("1.3-8UN")),
    ("BLT002", "'7-8UN'", lambda: parse_thread("7-8UN")),
    ("BLT002", "'2-9UN'", lambda: parse_thread("2-9UN")),
    ("BLT002", "M68", lambda: metric_across_flats_m(0.068)),
    ("BLT003", "'8.9'.*A193 B7", lambda: bolt_grade("8.9")),
    ("BLT003", "'B7'.*A194 2H", lambda: nut_grade("B7")),
    ("BLT004", "42 mm.*39", lambda: bolt_grade("8.8").at(0.042)),
    ("BLT004", "1 mm", lambda: bolt_grade("8.8").at(0.001)),
    ("BLT004", "18 mm.*16", lambda: bolt_grade("9.8").at(0.018)),
    ("BLT004", "63.5", lambda: bolt_grade("L7").at(2.625 * 0.0254)),
    ("BLT004", "2 in", lambda: nut_proof_load_n(nut_grade("2H"), 0.0508, 1e-3)),
    ("BLT005", "0", lambda: short_form_torque_nm(0.2, 0.0, 1.0)),
    ("BLT005", "nan", lambda: short_form_torque_nm(nan, 0.02, 1.0)),
    ("BLT005", "inf", lambda: short_form_torque_nm(0.2, 0.02, inf)),
    ("BLT006", "-0.1", lambda: Friction(-0.1, 0.1)),
    ("BLT006", "nan", lambda: Friction(0.1, nan)),
    ("BLT006", "thread.*0.2, 0.1", lambda: FrictionBand(BLUNT, SLICK, BLUNT)),
    ("BLT007", "7", lambda: cross_order(7)),
    ("BLT007", "2", lambda: cross_order(2)),
    ("BLT007", "34", lambda: cross_order(34)),
    ("BLT008", "1 pressures", lambda: CalibrationTable((1.0,), (1.0,))),
    ("BLT008", "2 pressures and 3", lambda: CalibrationTable((1.0, 2.0), (1.0, 2.0, 3.0))),
    ("BLT008", "pressure is 1 after 2", lambda: CalibrationTable((2.0, 1.0), (1.0, 2.0))),
    ("BLT008", "torque is 1 after 1", lambda: CalibrationTable((1.0, 2.0), (1.0, 1.0))),
    ("BLT008", "finite", lambda: CalibrationTable((1.0, inf), (1.0, 2.0))),
    ("BLT009", "pressure is 3", lambda: CalibrationTable((1.0, 2.0), (5.0, 9.0)).torque_nm(3.0)),
    ("BLT009", "torque is 4", lambda: CalibrationTable((1.0, 2.0), (5.0, 9.0)).pressure_pa(4.0)),
    ("BLT009", "nan", lambda: CalibrationTable((1.0, 2.0), (5.0, 9.0)).pressure_pa(nan)),
    ("BLT010", "1 N", lambda: overall_friction(1.0, 1e6, parse_thread("M30"), 0.04)),
    ("BLT012", "1", lambda: fraction_band_n(1.0, 1.0)),
    ("BLT014", "0.05", lambda: ring_bearing_diameter_m(0.05, 0.05)),
    ("BLT015", "71 mm", lambda: field_distance_m(0.1, 0.071)),
    ("BLT016", "1 values", lambda: mean_and_deviation([1.0])),
]


@pytest.mark.parametrize(
    ("code", "tells", "misuse"), MISUSES, ids=[f"{row[0]}-{row[1]}" for row in MISUSES]
)
def test_misuse_is_refused_with_its_code_value_and_way_out(
    code: str, tells: str, misuse: Callable[[], object]
) -> None:
    """BT2, BT4, BT8: one line says what is wrong, what is right and what to do."""
    with pytest.raises(BoltingError) as caught:
        misuse()

    message = str(caught.value)
    assert caught.value.code == code
    assert re.search(tells, message)
    assert re.fullmatch(rf"[^\n]+, must [^\n]+; [^\n]+ \[{code}\]", message)


def test_every_code_is_reached_by_some_misuse() -> None:
    """The list of codes is what the error reference is made from, so none may be dead."""
    assert sorted({code for code, _, _ in MISUSES}) == sorted(BOLTING_ERROR_CODES)
