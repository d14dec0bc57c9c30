"""Which acts the page offers in each state of a run, judged by the phases of IEC 61512-1."""

from typing import Any

import pytest

from coordinator.core.decide import begin
from coordinator.operate.cell_drawing import CellDrawing
from coordinator.page.board import Board, Facts, Snapshot
from coordinator.sequence import load
from tests.support.page_states import Recorder, states
from tests.support.sequence_files import SEQUENCES

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


def test_the_kept_states_have_the_shape_of_what_the_page_is_sent_today() -> None:
    """Pictures of a shape that nothing sends any more would show nothing."""
    loaded = load(SEQUENCES / "makeup_8.yaml")
    facts = Facts("run", True, 1.0, loaded.joint, geometry=CellDrawing(loaded))
    now = Board(loaded.plan, begin(loaded.plan), facts).snapshot(0)

    for name, kept in states().items():
        assert set(kept) - {"to_go", "ahead"} == set(now), name
        for part in ("lanes", "interlocks", "acts"):
            assert set(kept[part][0]) == set(now[part][0]), (name, part)
        for part in ("pull", "cell", "strip"):
            assert set(kept[part]) == set(now[part]), (name, part)


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
