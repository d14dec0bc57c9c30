"""The work beside make-up and break-out: replacing a rejected bolt, changing tools, parking."""

from pathlib import Path

import pytest

from coordinator.cli.dryrun import record_rows
from coordinator.live.recording import record_into
from coordinator.records.acceptance import open_points, wanted_proofs
from coordinator.records.rows import RecordFilter, Run
from coordinator.records.store import RecordStore
from coordinator.rehearse.rehearsal import rehearse
from coordinator.rehearse.simulated import BOLT_CATALOGUE
from coordinator.sequence import load, read_case
from tests.support.sequence_files import SEQUENCES


def _store_run(store: RecordStore, name: str, case: str) -> str:
    """Rehearse a sequence against a case, record it, and return how it ended."""
    loaded = load(SEQUENCES / f"{name}.yaml")
    given = read_case(SEQUENCES / "cases" / f"{case}.yaml", BOLT_CATALOGUE)
    result = rehearse(loaded, seed=given.seed, case=given)
    run = Run(f"{name}_1", loaded.joint.name, loaded.plan.name, tolerance=loaded.joint.tolerance)
    store.begin_run(run)
    write = record_into(store, loaded.plan, run, 0)
    for proof in result.proofs:
        write(proof)
    store.end_run(run.run, result.phase, result.reason, "2030-01-01T01:00:00Z")
    return result.phase


def test_a_rejected_bolt_and_its_replacement_read_as_one_chain(tmp_path: Path) -> None:
    """Whoever looks a bolt up must see why it was replaced, and that the new one is accepted."""
    store = RecordStore(f"sqlite:///{tmp_path / 'records.sqlite'}")
    ended = [
        _store_run(store, "makeup_8", "bolt_3_rejected"),
        _store_run(store, "replace_bolt", "new_bolt_is_there"),
    ]

    chain = store.list_records(RecordFilter(joint="airlift_16in_8", bolt=3))
    told = [(one.sequence, one.kind, one.round, one.attempt, one.verdict) for one in chain]

    assert ended == ["aborted", "complete"]
    assert told[-14:] == [
        ("makeup_8", "check", 4, 1, "rejected"),
        ("makeup_8", "check", 4, 2, "rejected"),
        ("makeup_8", "check", 4, 3, "rejected"),
        ("replace_bolt", "break-out", 0, 1, "accepted"),
        ("replace_bolt", "back-out", 0, 1, "accepted"),
        ("replace_bolt", "run-up", 0, 1, "accepted"),  # the new bolt, to its shoulder
        ("replace_bolt", "run-up", 0, 1, "accepted"),  # once more, with the opposite one
        *(
            ("replace_bolt", kind, number, 1, "accepted")
            for number in (1, 2, 3)
            for kind in ("pull", "confirm")
        ),
        ("replace_bolt", "check", 4, 1, "accepted"),
    ]


@pytest.mark.parametrize("name", ["replace_bolt", "replace_bolt_20"])
def test_a_replaced_bolt_leaves_a_joint_that_is_accepted(name: str) -> None:
    """Breaking one pair loose unloads its neighbours: every bolt is checked afterwards."""
    loaded = load(SEQUENCES / f"{name}.yaml")
    case = read_case(SEQUENCES / "cases" / "new_bolt_is_there.yaml", BOLT_CATALOGUE)
    result = rehearse(loaded, case=case)
    wanted = wanted_proofs(loaded.plan)

    assert result.phase == "complete", result.reason
    assert open_points(record_rows(loaded, result), wanted) == []
    assert {bolt for bolt, kind, _ in wanted if kind == "check"} == set(
        range(1, loaded.joint.bolt_count + 1)
    )


def test_nobody_starts_again_on_a_new_bolt_that_nobody_released() -> None:
    """A person has had hands in the joint; no answer is no release."""
    result = rehearse(load(SEQUENCES / "replace_bolt.yaml"))

    kinds = [proof.effect.node for proof in result.proofs]
    assert (result.phase, len(kinds)) == ("held", 3)


@pytest.mark.parametrize("name", ["change_tools", "park"])
def test_arms_change_every_tool_and_park(name: str) -> None:
    """What is done before a shift must come to its end without a person."""
    result = rehearse(load(SEQUENCES / f"{name}.yaml"))

    assert (result.phase, [one.text for _, one in result.notices if one.kind == "fault"]) == (
        "complete",
        [],
    )
