"""How each party stands: read from the command line, and said alike in every banner."""

from pathlib import Path

import pytest

from coordinator.live.standing import Standing, Standings
from coordinator.sequence import read_cell
from tests.support.sequence_files import SEQUENCES

CELL = read_cell(Path(SEQUENCES) / "cells" / "sill_point.yaml")


def test_who_is_not_named_is_simulated_or_real_with_all_the_others() -> None:
    """LV6: A word left out must not make steel move, unless everything was said to be real."""
    assert Standings.asked(CELL, ["fore=real"]).to_data() == (
        ("fore", "real"),
        ("aft", "simulated"),
        ("floor", "simulated"),
    )
    assert Standings.asked(CELL, ["aft=shadow"], is_real=True).to_data() == (
        ("fore", "real"),
        ("aft", "shadow"),
        ("floor", "real"),
    )


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["port=real"], "must be one of fore, aft, floor"),
        (["fore=steel"], "must be one of simulated, shadow, real"),
        (["fore"], "must be one of simulated, shadow, real"),
        (["fore=real", "fore=shadow"], "twice"),
    ],
)
def test_a_word_that_does_not_fit_is_refused_with_what_it_must_be(
    words: list[str], why: str
) -> None:
    """A slip of the pen must not pass for a simulation."""
    with pytest.raises(ValueError, match=why):
        Standings.asked(CELL, words)


@pytest.mark.parametrize(
    ("words", "banner", "caution"),
    [
        ([], "SIMULATED", "SIMULATED: no steel is touched"),
        (["fore=real", "aft=real", "floor=real"], "REAL", "REAL ARMS: stay clear"),
        (
            ["fore=real", "floor=real"],
            "PARTLY REAL (fore REAL, aft SIMULATED, floor REAL)",
            "PARTLY REAL (fore REAL, aft SIMULATED, floor REAL): stay clear",
        ),
        (
            ["fore=shadow"],
            "SIMULATED (fore SHADOW, aft SIMULATED, floor SIMULATED)",
            "SIMULATED (fore SHADOW, aft SIMULATED, floor SIMULATED): nothing real is commanded",
        ),
    ],
)
def test_the_banner_says_who_can_move(words: list[str], banner: str, caution: str) -> None:
    """LV7: whoever stands beside an arm must read from anywhere whether it is meant."""
    stands = Standings.asked(CELL, words)

    assert (stands.banner(), stands.caution()) == (banner, caution)
    assert Standings.from_data(stands.to_data(), "hoist") == stands
    assert stands.stands("hoist") is stands.stands("floor")
    assert stands.has_real is any(word.endswith(Standing.REAL) for word in words)
