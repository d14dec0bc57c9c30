"""Which acts the page offers in each state of a run, judged by the phases of IEC 61512-1."""

from typing import Any

import pytest

from coordinator.page.board import Snapshot
from tests.support.page_states import Recorder

FROM = {
    "start": {"idle"},
    "pause": {"running"},
    "resume": {"paused", "pausing"},
    "restart": {"held"},
    "hold": {"running", "pausing", "paused", "restarting", "holding", "held"},
}
"""Act -> phases in which IEC 61512-1:1997, 5.6 and figure 18 (from memory), has it; a hold in the
two that it leads to changes nothing and is still done (P8)."""


@pytest.mark.timeout(120)
def test_an_act_is_offered_only_in_a_phase_that_has_it_and_never_past_a_latched_trip() -> None:
    """PG13: a button that the core would refuse must not look as if it could be pressed."""
    seen: dict[tuple[str, str], int] = {}
    wrong: list[Any] = []

    def look(now: Snapshot) -> bool:
        latched = any(one["is_latched"] for one in now["interlocks"])
        for one in now["acts"]:
            if one["applies"]:
                seen[one["act"], now["phase"]] = seen.get((one["act"], now["phase"]), 0) + 1
            is_known = one["act"] not in FROM or now["phase"] in FROM[one["act"]]
            passes_latch = one["act"] in ("start", "restart") and latched
            if one["applies"] and (not is_known or passes_latch):
                wrong.append((one, now["phase"], latched))
            if not one["applies"] and not one["why"]:
                wrong.append((one, "refused without a reason"))
        return False

    Recorder("makeup_8.yaml", "person_steps_in.yaml", {"never": look})

    assert wrong == []
    for known in (
        ("start", "idle"),
        ("pause", "running"),
        ("hold", "running"),
        ("restart", "held"),
    ):
        assert seen.get(known), f"{known} was never offered"


@pytest.mark.timeout(120)
def test_the_sentence_of_now_names_what_is_latched_then_the_act_that_goes_on() -> None:
    """The expected act follows the state: reset while something is latched, then restart."""
    said: list[tuple[str, str, str]] = []

    def look(now: Snapshot) -> bool:
        one = (now["phase"], now["now"]["key"], now["now"]["act"])
        if not said or said[-1] != one:
            said.append(one)
        return False

    Recorder("makeup_8.yaml", "person_steps_in.yaml", {"never": look})

    assert ("held", "tripped", "reset") in said
    assert ("held", "held", "restart") in said
    assert said.index(("held", "tripped", "reset")) < said.index(("held", "held", "restart"))
    assert said[-1] == ("complete", "accepted", "")
