"""What is said of a person's act is what became of it.

A reset said "nothing moves until a restart" while both arms moved, and was logged as done although
it was refused; on the terminal an answer as the guide has it was refused without a visible word.
"""

from pathlib import Path

import pytest

from coordinator.core.events import Act
from sim_arms.causes import Cause
from tests.support.told_cell import ToldCell, write_span_by_hand


@pytest.fixture
def working(tmp_path: Path) -> ToldCell:
    """Return a cell in which both arms move."""
    cell = ToldCell(write_span_by_hand(tmp_path))
    cell.start()
    cell.run_until(lambda state: all(lane.command for lane in state.lanes[:2]))
    return cell


def test_a_reset_while_arms_move_does_not_say_that_nothing_moves(working: ToldCell) -> None:
    """Whoever reads it might step over the line."""
    before = len(working.lines)
    working.act(Act.RESET)

    assert not any("nothing moves" in one for one in working.lines[before:])
    assert all(lane.command for lane in working.state.lanes[:2])


def test_a_reset_that_is_refused_is_not_logged_as_done(working: ToldCell) -> None:
    """The trip is still active: the only thing that may be said is that it was refused, and why."""
    working.set_signal("floor_clear", False)
    working.run_until(lambda state: state.phase == "held")
    before = len(working.lines)
    working.act(Act.RESET)

    told = working.lines[before:]
    assert any("person_on_floor is still active: not reset" in one for one in told), told
    assert not any("reset by Ada" in one for one in told), told


@pytest.fixture
def asking(tmp_path: Path) -> ToldCell:
    """Return a cell that asks a person about a pull which a hand may make as well."""
    causes = (Cause("supply_low", "aft", parameters=(("pressure", 2e6),)),)
    cell = ToldCell(write_span_by_hand(tmp_path), causes)
    cell.start()
    cell.run_until(lambda state: bool(state.prompts))
    return cell


def target_nm(cell: ToldCell) -> float:
    """Return what the open prompt's bolt is pulled to."""
    record = cell.plan.nodes[cell.state.prompts[0].node].record
    assert record is not None
    return record.target_nm


def test_a_taken_prompt_is_answered_with_work_by_hand_of_somebody_else(asking: ToldCell) -> None:
    """The terminal answers for itself; the record names whose hands it was."""
    opened = asking.state.prompts[0]

    asking.type("take")
    asking.type(f"by_hand {target_nm(asking):.0f} Ada")

    assert opened.number not in [one.number for one in asking.state.prompts]
    assert ("by_hand", "Ada") in [(one.effect.outcome, one.effect.who) for one in asking.proofs]


def test_the_page_too_says_whose_hands_it_was_and_only_the_owner_answers(asking: ToldCell) -> None:
    """Whoever did the work need not be who has taken the prompt, nor may they answer for that."""
    number = asking.state.prompts[0].number
    said = {"prompt": number, "option": "by_hand", "torque_nm": target_nm(asking)}
    asking.press(words=f"take {number}", who="Bo")

    asking.press(**said, who="Ada", done_by="Bo")
    assert number in [one.number for one in asking.state.prompts]
    asking.press(**said, who="Bo", done_by="Ada")

    assert number not in [one.number for one in asking.state.prompts]
    assert ("by_hand", "Ada") in [(one.effect.outcome, one.effect.who) for one in asking.proofs]


def test_a_step_allowed_before_the_start_does_not_make_the_start_move_anything(
    tmp_path: Path,
) -> None:
    """In step mode a start releases nothing, whatever was typed before it."""
    cell = ToldCell(write_span_by_hand(tmp_path))
    cell.wait(5.0)  # Everybody is on the bus by then.
    cell.type("mode step")
    cell.type("step")
    cell.act(Act.START)
    cell.wait(5.0)

    assert cell.state.phase == "running"
    assert not any(lane.command for lane in cell.state.lanes)
