"""What the page tells beside a question: the causes that may be behind a fault."""

import tomllib
from functools import cache
from pathlib import Path

from coordinator.core.decide import begin
from coordinator.core.effects import RaisePrompt
from coordinator.core.events import TimePassed
from coordinator.core.state import Asked, OpenPrompt, StepPhase
from coordinator.operate.signs import signs_by_fault
from coordinator.page.board import Board, Facts
from coordinator.page.text_view import to_text
from coordinator.sequence import Loaded, load
from tests.support.sequence_files import SEQUENCES

CATALOGUE = Path(__file__).parents[4] / "sim_arms" / "catalogue.toml"


@cache
def shipped() -> Loaded:
    """Return the make-up, read once."""
    return load(SEQUENCES / "makeup_8.yaml")


def asked(fault: str) -> Board:
    """Return the board of a run in which a question about a fault was raised."""
    loaded = shipped()
    before = begin(loaded.plan)
    lane = before.lanes[0]._replace(node=0, at=Asked(StepPhase.PROMPTED, 1, fault))
    lanes = (lane, *before.lanes[1:])
    state = before._replace(prompts=(OpenPrompt(1, 0, 0, 0, fault),), lanes=lanes)
    facts = Facts("run", True, 1.0, loaded.joint)
    board = Board(loaded.plan, before, facts, signs_by_fault())
    board(TimePassed(1), (RaisePrompt(1, 0, 0, 0, fault, ("again", "abort")),), state)
    return board


def test_a_question_has_every_cause_of_the_catalogue_that_may_show_so_beside_it() -> None:
    """Read from the catalogue file itself; nobody at the joint must look it up elsewhere."""
    with CATALOGUE.open("rb") as file:
        tables = tomllib.load(file)
    faults = sorted({fault for one in tables.values() for fault in one["shows_as"]})
    seen = 0
    for fault in faults:
        (prompt,) = asked(fault).snapshot(2)["prompts"]
        wanted = [one for one in tables.values() if fault in one["shows_as"]]

        assert [one["code"] for one in prompt["causes"]] == [one["code"] for one in wanted]
        for told, one in zip(prompt["causes"], wanted, strict=True):
            assert (told["text"], told["signature"]) == (one["text"], one["signature"])
            assert told["recovery"] == one["recovery"]
            assert told["retried"].startswith("may be" if one["retried"] else "never")
        seen += len(wanted)
    assert seen >= 35


def test_the_page_without_pictures_has_them_too() -> None:
    """Whoever reads by ear or over a thin line gets the same."""
    text = to_text(asked("torque_not_reached").snapshot(2))

    assert "may be supply low (CAU016): the hydraulic supply gives only this pressure" in text
    assert "sign: pressure-time runs level too early; way on: see to the power unit" in text


def test_a_question_that_no_cause_shows_as_has_none_beside_it() -> None:
    """A hold point is no fault."""
    (prompt,) = asked("hold_point").snapshot(2)["prompts"]

    assert prompt["causes"] == []
