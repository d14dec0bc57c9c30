"""Defects planted in copies of the program: every patch fits, and a campaign finds a sample.

All of them: ``python -m tests.quality.hunting``; the table is in `PLANTED.md`.
"""

from pathlib import Path

import pytest

from tests.quality.hunting import defects, hunt, plant

QUICK = (
    ("last_party_is_not_released", "B2"),
    ("leases_are_an_hour_long", "L3"),
    ("first_round_pulls_to_the_end", "T2"),
    ("hoist_takes_the_string_before_tools_are_away", "SEQ072"),
    ("held_is_shown_when_one_stands", "H1"),
    ("arm_says_it_stands_before_it_does", "H2"),
)
"""One of each kind that shows soon: meetings, leases, rounds, loads, holds of core and arm. What a
rule finds never comes to a campaign."""


def test_every_patch_still_fits_the_program(tmp_path: Path) -> None:
    """A defect that cannot be planted any more is no longer looked for."""
    patches = defects()
    for number, patch in enumerate(patches):
        plant(patch, tmp_path / str(number))

    assert len(patches) >= 50


@pytest.mark.parametrize(("name", "code"), QUICK)
def test_a_campaign_finds_a_planted_defect_by_the_promise_that_it_breaks(
    name: str, code: str
) -> None:
    """A finder that finds nothing planted proves nothing."""
    (patch,) = (one for one in defects() if one.stem == name)

    caught = hunt(patch, cases_max=200)

    assert caught.signature.split(" ")[0] == code
    assert caught.again
