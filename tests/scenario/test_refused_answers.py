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
    refused = asked.press(prompt=number, option="by_hand", who="Ada")

    assert refused["outcome"] == "refused"
    assert "say the check torque with it; the prompt stays open" in refused["text"]
    assert number in [one.number for one in asked.state.prompts]
    assert "say the check torque with it" in asked.text()
    target_nm = asked.plan.nodes[asked.state.prompts[0].node].record
    assert target_nm is not None
    reply = asked.press(prompt=number, option="by_hand", who="Bo", torque_nm=target_nm.target_nm)

    assert reply["outcome"] == "done", reply
    assert number not in [one.number for one in asked.state.prompts]
    assert ("by_hand", "Bo") in [(one.effect.outcome, one.effect.who) for one in asked.proofs]


def test_an_answer_by_somebody_else_than_the_owner_locks_nobody_out(asked: ToldCell) -> None:
    """Bo answers what Ada has taken; Ada answers it afterwards all the same."""
    number = asked.state.prompts[0].number
    asked.press(words=f"take {number}", who="Ada")
    refused = asked.press(prompt=number, option="again", who="Bo")

    assert (refused["outcome"], "is Ada's; take it over first" in refused["text"]) == (
        "refused",
        True,
    )
    assert number in [one.number for one in asked.state.prompts]
    reply = asked.press(prompt=number, option="again", who="Ada")

    assert reply["outcome"] == "done", reply
    assert number not in [one.number for one in asked.state.prompts]


def test_an_answer_after_one_that_counted_is_told_whose_counted(asked: ToldCell) -> None:
    """P1: the second person reads who was first, and nothing of theirs counts."""
    number = asked.state.prompts[0].number
    asked.press(prompt=number, option="again", who="Ada")
    late = asked.press(prompt=number, option="abort", who="Bo")

    assert late["outcome"] == "refused"
    assert f"prompt {number} was answered by Ada already" in late["text"]
    assert asked.state.phase == "running"


def test_what_was_pressed_on_a_page_that_stood_still_does_nothing_after_the_thaw(
    asked: ToldCell,
) -> None:
    """P9: its age counts from the time that the page showed last; a hold counts all the same."""
    shown_s = asked.world.now_us / 1e6
    asked.wait(7.0)
    late = asked.press(act="pause", who="Ada", pressed_s=shown_s)

    assert (late["outcome"], asked.state.phase) == ("late", "running")
    assert "too late by 5.0 s, nothing was done" in late["text"]
    held = asked.press(act="hold", who="Ada", pressed_s=shown_s)
    assert (held["outcome"], asked.state.phase) == ("done", "holding")


def test_a_press_that_is_sent_twice_is_done_once_and_said_so(asked: ToldCell) -> None:
    """P9: a page that lost its link sends again under the same name."""
    first = asked.press(act="pause", who="Ada", id="x-1")
    again = asked.press(act="pause", who="Ada", id="x-1")

    assert (first["outcome"], again["outcome"]) == ("done", "repeated")
    assert "was taken already" in again["text"]


def test_what_is_typed_is_answered_where_it_was_typed(asked: ToldCell) -> None:
    """P7: an answer that is refused is told with what would be right."""
    number = asked.state.prompts[0].number
    asked.press(words=f"take {number}", who="Bo")

    refused = asked.press(prompt=number, option="nonsense", who="Bo")

    assert refused["outcome"] == "refused"
    assert "not among the options, which are again" in refused["text"]
