"""Reading thread designations as people write them."""

import pytest

from coordinator.bolting.threads import parse_thread


@pytest.mark.parametrize(
    ("written", "designation", "series"),
    [
        ("M30", "M30x3.5", "metric coarse"),
        (" m30 ", "M30x3.5", "metric coarse"),
        ("M30x3.5", "M30x3.5", "metric coarse"),
        ("M30 X 3", "M30x3", "metric fine"),
        ("M16\u00d71.5", "M16x1.5", "metric fine"),
        ("M30x3-6g", "M30x3", "metric fine"),
        ("2-8UN", "2-8UN", "8-UN"),
        ("2 - 8 UN", "2-8UN", "8-UN"),
        ("2-8UN-2A", "2-8UN", "8-UN"),
        ("2-8UNR", "2-8UN", "8-UN"),
        ("1 1/2-8UN", "1 1/2-8UN", "8-UN"),
        ("1-1/2-8UN", "1 1/2-8UN", "8-UN"),
        ("1.5-8un", "1 1/2-8UN", "8-UN"),
        ("3/2-8UN", "1 1/2-8UN", "8-UN"),
        ("3/4-16UNF", "3/4-16UNF", "UNF"),
        ("0.75-16UNF", "3/4-16UNF", "UNF"),
        ("1-8UNC", "1-8UNC", "UNC"),
        ("2-4.5UNC", "2-4.5UNC", "UNC"),
        ("2-4 1/2UNC", "2-4.5UNC", "UNC"),
        ("1 1/2-12UN", "1 1/2-12UN", "UN"),
    ],
)
def test_one_thread_written_in_several_ways_is_one_thread(
    written: str, designation: str, series: str
) -> None:
    """Files and drawings differ in spacing, case and fractions, never in the steel."""
    thread = parse_thread(written)

    assert (thread.designation, thread.series) == (designation, series)
    assert parse_thread(thread.designation) == thread


def test_diameters_of_a_thread_stand_in_their_order() -> None:
    """Root, bolt minor, nut minor, pitch, major: each is cut less deep than the one before."""
    for designation in ("M6", "M30x3", "M100x6", "1/4-20UNC", "2-8UN", "6-8UN"):
        thread = parse_thread(designation)
        diameters_m = [
            thread.root_diameter_m,
            thread.minor_diameter_external_m,
            thread.minor_diameter_internal_m,
            thread.pitch_diameter_m,
            thread.major_diameter_m,
        ]
        assert diameters_m == sorted(diameters_m)
        assert thread.root_diameter_m < thread.stress_diameter_m < thread.pitch_diameter_m
