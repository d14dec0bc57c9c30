"""What people read at the worst moment is so: words follow from the state, never from intent.

Each test stands for a sentence that was read on the page or the terminal while it was not true.
"""

import re
from pathlib import Path
from typing import Any

import pytest

from coordinator.core.events import Act
from coordinator.core.plan import Exhausted
from coordinator.core.state import State
from coordinator.live.alarms import alarm_words
from coordinator.sequence import load
from tests.support.told_cell import ToldCell, write_span_by_hand

INSIDE = "somebody is inside the line"
CANNOT = "the wrenches cannot pull"


@pytest.fixture
def cell(tmp_path: Path) -> ToldCell:
    """Return a cell at work on one paired pull."""
    cell = ToldCell(write_span_by_hand(tmp_path))
    cell.start()
    cell.run_until(lambda state: all(lane.command for lane in state.lanes[:2]))
    return cell


def interlock(cell: ToldCell, name: str) -> dict[str, Any]:
    """Return what the page shows of an interlock."""
    return next(one for one in cell.snapshot()["interlocks"] if one["name"] == name)


def alarms(cell: ToldCell) -> list[str]:
    """Return what the terminal says about every alarm."""
    return [alarm_words(one) for one in cell.alarms.standing()]


def test_an_interlock_that_is_set_aside_does_not_alarm_what_it_no_longer_keeps(
    cell: ToldCell,
) -> None:
    """An overridden `supply_low` alarmed "the wrenches cannot pull" while both pulled."""
    cell.type("override supply_low 5 the gauge sticks")
    cell.set_signal("hydraulics_ready", False)

    shown = interlock(cell, "supply_low")
    assert (shown["value"], shown["words"].split(":")[0]) == ("overridden", shown_aside())
    assert not any(CANNOT in one for one in alarms(cell)), alarms(cell)
    assert any("override supply_low" in one for one in alarms(cell))
    assert CANNOT not in cell.text()

    cell.type("end supply_low")
    assert any(CANNOT in one for one in alarms(cell)), alarms(cell)


def shown_aside() -> str:
    """Return how an override begins in words."""
    return "set aside by operator at the terminal"


def test_a_latched_trip_whose_signal_is_good_again_is_not_shown_as_good(cell: ToldCell) -> None:
    """A latched trip that cleared read "good"; nobody looks for what keeps the arms then."""
    cell.set_signal("floor_clear", False)
    cell.run_until(lambda state: state.phase == "held")
    assert interlock(cell, "person_on_floor")["value"] == "active"
    assert INSIDE in cell.snapshot()["reason"]

    cell.set_signal("floor_clear", True)

    shown = interlock(cell, "person_on_floor")
    assert (shown["value"], shown["is_latched"]) == ("latched", True)
    assert "latched until a reset" in shown["words"]
    (alarm,) = [one for one in alarms(cell) if "person_on_floor" in one]
    assert "latched, its signal is good again" in alarm
    assert "it wants a reset" in cell.snapshot()["reason"]


def test_after_a_reset_nothing_says_that_somebody_is_inside(cell: ToldCell) -> None:
    """The header went on to say so, and people stop believing headers."""
    cell.set_signal("floor_clear", False)
    cell.run_until(lambda state: state.phase == "held")
    cell.set_signal("floor_clear", True)
    cell.act(Act.RESET)

    header = cell.snapshot()["reason"]
    assert header == "person_on_floor has acted; its signal is good again"
    told = [one for one in cell.text().splitlines() if INSIDE in one]
    # Only what is dated may still tell it: the alarm that is over, notices, the story of the hold.
    dated = re.compile(r"ALARM .*: over: |HOLD at |[+-]?[0-9.]+ s ")
    assert [one for one in told if not dated.match(one.strip())] == []


def test_while_one_side_waits_nothing_says_that_both_pull(cell: ToldCell) -> None:
    """It read "difference 1492 N·m, no band, both pull together" while one side waited."""
    seen: set[str] = set()

    def note(state: State) -> bool:
        (span,) = cell.plan.spans
        first = cell.plan.barriers[span.opens].next_nodes
        pulls = [
            lane
            for lane, node in zip(span.lanes, first, strict=True)
            if state.lanes[lane].node == node and state.lanes[lane].phase == "running"
        ]
        words = cell.snapshot()["pull"]["words"]
        seen.add(re.sub("[0-9]+", "N", words))
        assert ("both pull together" in words) == (len(pulls) == 2), (pulls, words)
        return state.phase == "complete"

    cell.run_until(note)

    assert any(one.startswith("both pull together; difference N") for one in seen), seen
    assert any("does not pull now" in one for one in seen), seen
    assert "" in seen


def test_otherwise_speaks_for_what_the_coordinator_finds_itself(tmp_path: Path) -> None:
    """`otherwise: {ask: ...}` did not speak for `timeout` and `out_of_balance`."""
    path = write_span_by_hand(tmp_path)
    text = path.read_text(encoding="utf-8").replace("otherwise: hold", "otherwise: {ask: trouble}")
    text = re.sub("    out_of_balance: .*\n", "", text)
    path.write_text(text, encoding="utf-8")
    plan = load(path).plan

    for node in plan.nodes:
        if node.move is None:
            continue
        asked = {one.fault for one in node.rules if one.then is Exhausted.ASK}
        assert {"timeout", "refused", "silent"} <= asked, node.name
        assert ("out_of_balance" in asked) == (node.span >= 0), node.name
        assert "outcome_unknown" not in asked, node.name


def test_a_timeout_that_only_otherwise_speaks_for_is_asked_about(tmp_path: Path) -> None:
    """The whole way: the step takes too long, and a person is asked instead of a hold."""
    path = write_span_by_hand(tmp_path)
    text = path.read_text(encoding="utf-8").replace("otherwise: hold", "otherwise: {ask: trouble}")
    text = text.replace(
        "- {do: turn_socket, with: {bolt: $bolt}}",
        "- {do: turn_socket, with: {bolt: $bolt}, timeout: 1 s}",
    )
    path.write_text(text, encoding="utf-8")
    cell = ToldCell(path)
    cell.start()

    cell.run_until(lambda state: bool(state.prompts) or state.phase != "running")

    assert [one.fault for one in cell.state.prompts][:1] == ["timeout"]
