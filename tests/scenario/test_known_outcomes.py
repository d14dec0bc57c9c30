"""What an arm knows is not asked of a person: a pull that was released and held before its start.

Both arms knew that nothing had begun; the coordinator held both outcomes for unknown, and a person
was asked twice about pulls that had never happened.
"""

from pathlib import Path

from coordinator.core.events import Act
from coordinator.core.state import State
from coordinator.wire.messages import Started
from tests.support.told_cell import ToldCell, write_span_by_hand


def held_before_its_start(folder: Path) -> ToldCell:
    """Return a cell whose paired pull was released, and held before its common start time."""
    cell = ToldCell(write_span_by_hand(folder))
    (span,) = cell.plan.spans
    cell.start()

    def is_released(state: State) -> bool:
        return state.meetings[span.opens].phase == "released"

    cell.run_until(is_released)
    heard = len(cell.heard)
    cell.act(Act.HOLD)
    cell.run_until(lambda state: state.phase == "held")
    assert not any(isinstance(one.body, Started) for one in cell.heard[heard:])
    return cell


def test_a_hold_between_release_and_start_leaves_nothing_unknown(tmp_path: Path) -> None:
    """The ledgers say "never begun": that is an outcome like any other."""
    cell = held_before_its_start(tmp_path)
    cell.act(Act.RESTART)
    cell.run_until(lambda state: bool(state.prompts) or state.phase in ("complete", "held"))

    assert [one.fault for one in cell.state.prompts] == []
    assert cell.state.phase == "complete", cell.state.reason


def test_both_sides_pull_once_after_such_a_hold(tmp_path: Path) -> None:
    """Never begun and begun again: one pull of each bolt stands in its records."""
    cell = held_before_its_start(tmp_path)
    proofs = len(cell.proofs)
    cell.act(Act.RESTART)
    cell.run_until(lambda state: bool(state.prompts) or state.phase in ("complete", "held"))

    pulls = [
        (one.effect.party, one.effect.outcome)
        for one in cell.proofs[proofs:]
        if cell.plan.nodes[one.effect.node].name.startswith("pull")
    ]
    assert sorted(pulls) == [(0, "finished"), (1, "finished")]
