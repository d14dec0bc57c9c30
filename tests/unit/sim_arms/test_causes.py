"""Causes: where and when they act, how often, and what they do to the floor's signals."""

import re
from pathlib import Path

import pytest

from sim_arms.causes import CATALOGUE, Cause, Causes, floor_signals, parameter

CELL = Path(__file__).parents[3] / "sequences" / "cells" / "sill_point.yaml"
GOOD = {"floor_clear": True, "string_still": True, "nothing_overhead": True}


def test_a_cause_acts_only_where_and_when_its_case_says() -> None:
    """From 10 s for 5 s, on bolt 3 of fore."""
    causes = Causes([Cause("burr", side="fore", bolt=3, at_us=10_000_000, for_us=5_000_000)])

    acts = [causes.acting("burr", at_s, side="fore", bolt=3) for at_s in (9.9, 10.0, 14.9, 15.0)]

    assert [cause is not None for cause in acts] == [False, True, True, False]
    assert causes.acting("burr", 12.0, side="aft", bolt=3) is None
    assert causes.acting("burr", 12.0, side="fore", bolt=4) is None


def test_a_cause_is_used_up_after_its_times() -> None:
    """A wrong hex angle acts once by default and twice where the case says so."""
    once, twice = Causes([Cause("hex_angle_wrong")]), Causes([Cause("hex_angle_wrong", times=2)])

    used = [
        [causes.use("hex_angle_wrong", 0.0, bolt=1) is not None for _ in range(3)]
        for causes in (once, twice)
    ]

    assert used == [[True, False, False], [True, True, False]]


def test_unknown_causes_and_parameters_are_refused() -> None:
    """A misspelt case must not run as a harmless one."""
    with pytest.raises(ValueError, match="'rust' is not in the catalogue"):
        Causes([Cause("rust")])
    with pytest.raises(ValueError, match="'burr' has no parameter 'depth'"):
        Causes([Cause("burr", parameters=(("depth", 1.0),))])


def test_a_parameter_not_given_is_the_one_of_the_catalogue() -> None:
    """Both ways through."""
    assert parameter(Cause("leak"), "share_per_s") == 0.1
    assert parameter(Cause("leak", parameters=(("share_per_s", 0.3),)), "share_per_s") == 0.3


def test_every_fault_named_in_the_catalogue_is_a_fault_of_the_cell() -> None:
    """The words for faults have one list, the cell file's."""
    text = CELL.read_text(encoding="utf-8")
    section = text.split("\nfaults:\n")[1].split("\nactions:\n")[0]
    faults = re.findall(r"^  (\w+):", section, re.MULTILINE)

    assert sorted({f for kind in CATALOGUE.values() for f in kind.shows_as} - {*faults}) == []


@pytest.mark.parametrize(
    ("cause", "changed"),
    [
        ("person_steps_in", {"floor_clear": False}),
        ("scanner_silent", {"floor_clear": None}),
        ("string_moves", {"string_still": False}),
        ("load_overhead_stays", {"nothing_overhead": False}),
    ],
)
def test_a_cause_on_the_floor_changes_its_signal_while_it_lasts(
    cause: str, changed: dict[str, bool | None]
) -> None:
    """One second from the start, then all is as before."""
    causes = Causes([Cause(cause, for_us=1_000_000)])

    assert floor_signals(causes, 0.5, GOOD) == GOOD | changed
    assert floor_signals(causes, 1.5, GOOD) == GOOD


def test_a_silent_floor_publishes_nothing() -> None:
    """Silence is not a value: the receivers must find it by age."""
    assert floor_signals(Causes([Cause("signal_silent")]), 0.0, GOOD) is None
