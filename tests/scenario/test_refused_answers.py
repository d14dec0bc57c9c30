"""An answer that the core refuses leaves its prompt open, for whoever answers it rightly.

An operator answered `by_hand` without a torque, the core refused it, and from then on the page told
everybody that the prompt was answered: nobody could answer it any more.
"""

from pathlib import Path

import pytest

from sim_arms.causes import Cause
from tests.support.told_cell import ToldCell, write_span_by_hand

CAUSES = (Cause("supply_low", "aft", parameters=(("pressure", 2e6),)),)


@pytest.fixture
def asked(tmp_path: Path) -> ToldCell:
    """Return a cell in which a pull has failed as often as it may and a person is asked."""
    cell = ToldCell(write_span_by_hand(tmp_path), CAUSES)
    cell.start()
    cell.run_until(lambda state: bool(state.prompts))
    return cell


def test_work_by_hand_without_a_torque_is_refused_and_can_be_answered_again(
    asked: ToldCell,
) -> None:
    """The refusal is told, the prompt stays open, and the right answer counts."""
    number = asked.state.prompts[0].number
    asked.press(prompt=number, option="by_hand", who="Ada")

    assert number in [one.number for one in asked.state.prompts]
    assert "say the check torque with it" in asked.text()
    target_nm = asked.plan.nodes[asked.state.prompts[0].node].record
    assert target_nm is not None
    reply = asked.press(prompt=number, option="by_hand", who="Bo", torque_nm=target_nm.target_nm)

    assert reply["ok"], reply
    assert number not in [one.number for one in asked.state.prompts]
    assert ("by_hand", "Bo") in [(one.effect.outcome, one.effect.who) for one in asked.proofs]


def test_an_answer_by_somebody_else_than_the_owner_locks_nobody_out(asked: ToldCell) -> None:
    """Bo answers what Ada has taken; Ada answers it afterwards all the same."""
    number = asked.state.prompts[0].number
    asked.press(words=f"take {number}", who="Ada")
    asked.press(prompt=number, option="again", who="Bo")

    assert number in [one.number for one in asked.state.prompts]
    reply = asked.press(prompt=number, option="again", who="Ada")

    assert reply["ok"], reply
    assert number not in [one.number for one in asked.state.prompts]


def test_an_answer_after_one_that_counted_is_told_whose_counted(asked: ToldCell) -> None:
    """P1: the second person reads who was first, and nothing of theirs counts."""
    number = asked.state.prompts[0].number
    asked.press(prompt=number, option="again", who="Ada")
    late = asked.press(prompt=number, option="abort", who="Bo")

    assert late == {"ok": False, "text": f"prompt {number} was answered by Ada already"}
    assert asked.state.phase == "running"
