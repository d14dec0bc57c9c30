"""The bolt that is named is the bolt that lags: its side carries the fault, with both torques.

`out_of_balance` blamed the side that had reported last: the healthy one, still rising. A person was
offered to replace the bolt that was good.
"""

from pathlib import Path

import pytest

from sim_arms.causes import Cause
from tests.support.told_cell import ToldCell, write_span_by_hand

SIDES = ("fore", "aft")


def out_of_balance(folder: Path, side: str) -> ToldCell:
    """Return a cell whose one side stood still under a low supply until a person was asked."""
    causes = (Cause("supply_low", side, parameters=(("pressure", 2e6),)),)
    cell = ToldCell(write_span_by_hand(folder), causes)
    cell.start()
    cell.run_until(lambda state: bool(state.prompts) or state.phase != "running")
    assert [one.fault for one in cell.state.prompts] == ["out_of_balance"]
    return cell


@pytest.mark.parametrize("side", SIDES)
def test_the_prompt_is_about_the_side_that_fell_behind(tmp_path: Path, side: str) -> None:
    """It stood at 760 N·m while the other rose on."""
    cell = out_of_balance(tmp_path, side)

    (prompt,) = cell.snapshot()["prompts"]
    assert prompt["side"] == side


@pytest.mark.parametrize("side", SIDES)
def test_the_prompt_and_the_notice_name_both_torques_by_their_sides(
    tmp_path: Path, side: str
) -> None:
    """A pair of numbers without names cannot be compared with what stands on the gauges."""
    cell = out_of_balance(tmp_path, side)

    notices = [one["text"] for one in cell.snapshot()["notices"] if "balance" in one["kind"]]
    assert all(one in notices[-1] for one in SIDES), notices
    (prompt,) = cell.snapshot()["prompts"]
    assert all(any(one in name for name in prompt["evidence"]) for one in SIDES), prompt["evidence"]


@pytest.mark.parametrize("side", SIDES)
def test_the_record_of_the_side_that_fell_behind_carries_the_fault(
    tmp_path: Path, side: str
) -> None:
    """A bolt's history that says "interrupted" hides why its pull was ended."""
    cell = out_of_balance(tmp_path, side)

    last = {one.effect.party: one.effect for one in cell.proofs}
    behind = last[SIDES.index(side)]
    assert (behind.outcome, behind.fault) == ("faulted", "out_of_balance")
