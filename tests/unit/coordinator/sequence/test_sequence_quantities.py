"""Quantities: units become SI, and nothing else passes."""

import pytest
from scipy import constants

from coordinator.sequence.form.quantities import (
    Dimension,
    QuantityError,
    parse_quantity,
    parse_time_us,
)


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("2.5 kN.m", "torque", 2500.0),
        ("2.5 kN·m", "torque", 2500.0),
        ("600 N.m", "torque", 600.0),
        ("1 lbf.ft", "torque", constants.pound_force * constants.foot),
        ("60 mm", "length", 0.060),
        ("-3 mm", "length", -0.003),
        ("3.125 in", "length", 3.125 * constants.inch),
        ("52.5 ksi", "pressure", 52_500.0 * constants.psi),
        ("10 bar", "pressure", 10.0 * constants.bar),
        ("10 deg", "angle", 10.0 * constants.degree),
        ("1 turn", "angle", 2.0 * constants.pi),
        ("30 %", "share", 0.30),
        ("1.5 min", "time", 90.0),
        ("250 kN", "force", 250_000.0),
    ],
)
def test_a_quantity_becomes_its_si_value(text: str, dimension: str, expected: float) -> None:
    """Factors by `scipy.constants`, which does not know our unit library."""
    assert parse_quantity(text, Dimension(dimension)) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "code"),
    [
        (5, "torque", "SEQ012"),
        (0.5, "share", "SEQ012"),
        ("5", "torque", "SEQ008"),
        ("five N.m", "torque", "SEQ008"),
        (True, "time", "SEQ008"),
        ("5 N.m", "time", "SEQ012"),
        ("5 J", "torque", "SEQ012"),
        ("5 m/s", "time", "SEQ012"),
        ("1 turn", "share", "SEQ012"),
        ("30 %", "angle", "SEQ012"),
        ("5 minits", "time", "SEQ011"),
        ("5 __class__", "time", "SEQ011"),
        ("5 s; 6 s", "time", "SEQ011"),
        ("2 * 3 s", "time", "SEQ011"),
        ("1e999 s", "time", "SEQ008"),
    ],
)
def test_what_is_no_quantity_of_the_dimension_is_refused(
    text: object, dimension: str, code: str
) -> None:
    """SQ6: A number that is read in the wrong unit pulls a bolt apart."""
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, Dimension(dimension))

    assert caught.value.code == code


@pytest.mark.parametrize(
    ("text", "expected_us"), [("50 ms", 50_000), ("412.3 s", 412_300_000), ("0.1 ms", 100)]
)
def test_a_time_becomes_whole_microseconds(text: str, expected_us: int) -> None:
    """The core knows no fractions of a microsecond."""
    assert parse_time_us(text) == expected_us
