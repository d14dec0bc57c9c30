"""A re-check that is owed is made before the side's next pull, or a person is asked; never dropped.

The hoist moved and the joint shifted during a confirmation. After the restart people read "checked
again: locate_joint, react"; the arm had refused `locate_joint`, both checks were forgotten, and the
next pull went out at full torque.
"""

from pathlib import Path

import pytest

from coordinator.core.events import Act
from coordinator.core.state import State
from coordinator.wire.messages import Do, Finished, Message
from tests.support.told_cell import ToldCell, write_span_by_hand

OWED = ("locate_joint", "react")
"""By the interlock that has acted, and by the step that was broken off."""
ASKS = "    refused: {then: {ask: trouble}}\n"


def held_in_confirmation(path: Path) -> ToldCell:
    """Return a cell that the moving string has held while the first bolt was confirmed."""
    cell = ToldCell(path)
    cell.start()
    cell.run_until(lambda state: _is_confirming(cell, state))
    cell.set_signal("string_still", False)
    cell.run_until(lambda state: state.phase == "held")
    cell.set_signal("string_still", True)
    return cell


def _is_confirming(cell: ToldCell, state: State) -> bool:
    lane = state.lanes[0]
    name = cell.plan.nodes[lane.node].name if lane.node >= 0 else ""
    return bool(lane.command) and name.startswith("confirm torque")


def pulls_without_checks(cell: ToldCell, sent: int, heard: int) -> list[str]:
    """Return the pulls since then that went out before their side had made what it owed.

    Judged from the bus alone: what was commanded, and which of it the arms say they have finished.
    """
    asked = {
        (one.subject, one.body.command): one.body.action
        for one in cell.sent[sent:]
        if isinstance(one.body, Do)
    }
    bus = sorted((*cell.sent[sent:], *cell.heard[heard:]), key=_sent_us)
    made: dict[str, list[str]] = {"fore": [], "aft": []}
    found = []
    for one in bus:
        if isinstance(one.body, Finished) and one.source in made:
            made[one.source].append(asked.get((one.source, one.body.command), ""))
        elif isinstance(one.body, Do) and one.body.action in ("pull", "confirm_torque"):
            lacking = [check for check in OWED if check not in made[one.subject]]
            found += [f"{one.subject}: {one.body.action} without {check}" for check in lacking]
            if not lacking:
                made[one.subject] = list(OWED)  # Made once, it is owed no more.
    return found


def _sent_us(message: Message) -> int:
    return message.sent_us


@pytest.mark.parametrize("asks", [False, True], ids=["refusals hold", "refusals are asked about"])
def test_no_side_pulls_before_it_has_made_the_checks_that_it_owes(
    tmp_path: Path, asks: bool
) -> None:
    """The arm cannot locate the joint with its wrench on the bolt: nobody may forget that."""
    path = write_span_by_hand(tmp_path)
    if asks:
        text = path.read_text(encoding="utf-8")
        path.write_text(text.replace("  spanning:\n", f"  spanning:\n{ASKS}", 1), encoding="utf-8")
    cell = held_in_confirmation(path)
    sent, heard = len(cell.sent), len(cell.heard)

    for _ in range(4):
        if cell.state.phase == "held":
            cell.act(Act.RESTART)
        for opened in cell.state.prompts:
            cell.press(prompt=opened.number, option="again", who="Ada")
        cell.run_until(lambda state: state.phase in ("held", "complete") or bool(state.prompts))

    assert pulls_without_checks(cell, sent, heard) == []


def test_only_what_was_checked_is_said_to_be_checked_again(tmp_path: Path) -> None:
    """At the restart nothing has been checked yet: that it will be is another sentence."""
    cell = held_in_confirmation(write_span_by_hand(tmp_path))
    lines, heard = len(cell.lines), len(cell.heard)
    cell.act(Act.RESTART)
    cell.run_until(lambda state: state.phase in ("held", "complete") or bool(state.prompts))

    finished = [one for one in cell.heard[heard:] if isinstance(one.body, Finished)]
    told = [one for one in cell.lines[lines:] if "checked again: " in one and "nothing" not in one]
    assert finished or told == []
