"""The record store: one row for each proof, and a chain that names the first change."""

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from coordinator.live.recording import record_into
from coordinator.records.rows import RecordFilter, Run, StoredRecord
from coordinator.records.store import RecordsFailed, RecordStore
from coordinator.wire.messages import Trace
from tests.support.obedient import TRACE
from tests.support.proofs import ORIGIN_US, proof
from tests.support.small_plan import small_plan

RUN = Run("run_1", "airlift", "small", "d" * 64, "2030-01-01T00:00:00Z")


def filled(path: Path) -> RecordStore:
    store = RecordStore(f"sqlite:///{path}")
    store.begin_run(RUN)
    write = record_into(store, small_plan(), RUN, ORIGIN_US)
    write(proof(4))
    write(proof(5, node=4, torque_nm=800.0))
    store.end_run("run_1", "complete", "", "2030-01-01T01:00:00Z")
    return store


def changed(path: Path, *changes: str) -> None:
    with sqlite3.connect(path) as other:
        for change in changes:
            assert other.execute(change).rowcount >= 1
    other.close()


def test_a_proof_becomes_one_whole_row(tmp_path: Path) -> None:
    """Everything that a certificate prints comes from here."""
    store = filled(tmp_path / "records.sqlite")

    row = store.show(2)

    assert replace(row, digest="") == StoredRecord(
        seq=2,
        run="run_1",
        joint="airlift",
        sequence="small",
        side="fore",
        command=4,
        step="pull_1",
        bolt=1,
        kind="pull",
        round=1,
        attempt=1,
        outcome="finished",
        fault="",
        target_nm=1000.0,
        torque_nm=998.0,
        pressure_pa=None,
        angle_rad=None,
        simulated=True,
        tool="wrench 3",
        at="2030-01-01T00:00:02.500000+00:00",
        results=(("torque_nm", 998.0),),
        trace_time_s=TRACE.time_s,
        trace_torque_nm=TRACE.torque_nm,
        trace_pressure_pa=TRACE.pressure_pa,
        trace_angle_rad=TRACE.angle_rad,
        verdict="accepted",
        reasons=(),
        digest="",
    )
    store.close()


def test_records_are_found_by_what_they_say(tmp_path: Path) -> None:
    """Look-back starts with a question about a bolt or a verdict."""
    store = filled(tmp_path / "records.sqlite")

    assert [row.bolt for row in store.list_records()] == [1, 5]
    rejected = store.list_records(RecordFilter(verdict="rejected"))
    assert [(row.bolt, row.reasons) for row in rejected] == [
        (5, ("torque_below", "torque_disagrees"))
    ]
    assert store.list_records(RecordFilter(run="run_1", side="aft", bolt=1)) == ()
    store.close()


def test_runs_tell_how_they_ended(tmp_path: Path) -> None:
    """The last note counts: a held run may be gone on with."""
    store = filled(tmp_path / "records.sqlite")

    assert store.runs() == (replace(RUN, phase="complete"),)
    store.close()


def test_a_command_is_recorded_once(tmp_path: Path) -> None:
    """D2: a resumed run writes its last proof again."""
    store = filled(tmp_path / "records.sqlite")
    before = store.head()

    store.begin_run(RUN)
    record_into(store, small_plan(), RUN, ORIGIN_US)(proof(4, torque_nm=1.0))

    assert store.head() == before
    assert store.verify() is None
    store.close()


def test_a_step_that_proves_nothing_about_a_bolt_leaves_no_row(tmp_path: Path) -> None:
    """Parking an arm is no record."""
    store = filled(tmp_path / "records.sqlite")

    record_into(store, small_plan(), RUN, ORIGIN_US)(proof(9, node=0))

    assert len(store.list_records()) == 2
    store.close()


def test_a_trace_that_is_missing_leaves_the_record_undecided(tmp_path: Path) -> None:
    """The report alone is not believed."""
    store = filled(tmp_path / "records.sqlite")

    record_into(store, small_plan(), RUN, ORIGIN_US)(replace(proof(9), trace=None))

    last = store.list_records()[-1]
    assert (last.verdict, last.reasons) == ("not_decidable", ("samples_missing",))
    assert last.trace_time_s == Trace().time_s
    store.close()


RECORD_CHANGES = [
    ("run", "'x'"),
    ("joint", "'x'"),
    ("sequence", "'x'"),
    ("side", "'x'"),
    ("command", "77"),
    ("step", "'x'"),
    ("bolt", "3"),
    ("kind", "'check'"),
    ("round", "2"),
    ("attempt", "2"),
    ("outcome", "'faulted'"),
    ("fault", "'leak'"),
    ("target_nm", "999.0"),
    ("torque_nm", "998.0000000000001"),
    ("pressure_pa", "1.0"),
    ("angle_rad", "1.0"),
    ("simulated", "0"),
    ("tool", "'x'"),
    ("at", "'x'"),
    ("results", "'[]'"),
    ("trace_time_s", "'[0.0]'"),
    ("trace_torque_nm", "'[0.0]'"),
    ("trace_pressure_pa", "'[0.0]'"),
    ("trace_angle_rad", "'[0.0]'"),
    ("verdict", "'rejected'"),
    ("reasons", "'[\"x\"]'"),
    ("digest", "'x'"),
]


@pytest.mark.parametrize(("column", "value"), RECORD_CHANGES)
def test_any_altered_column_names_its_row(tmp_path: Path, column: str, value: str) -> None:
    """D1: no column stands outside the chain."""
    path = tmp_path / "records.sqlite"
    store = filled(path)
    assert store.verify() is None

    changed(path, f'UPDATE record SET "{column}" = {value} WHERE seq = 2')

    told = store.verify()
    assert told is not None
    assert told.startswith("row 2 (record of run ")
    assert told.endswith("was altered")
    store.close()


def test_the_changes_tried_are_all_columns_but_the_number() -> None:
    """A column added later must be tried too."""
    from coordinator.records.tables import RECORDS

    assert [column for column, _ in RECORD_CHANGES] == [c.name for c in RECORDS.c][1:]


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        (("DELETE FROM record WHERE seq = 2",), "row 2 is missing"),
        (("DELETE FROM ending",), "row 4 is missing: the head counts 4"),
        (("UPDATE head SET digest = 'x'",), "row 5 is missing: the head counts 4"),
        (("UPDATE run SET tolerance = 0.9",), "row 1 (run of run 'run_1') was altered"),
        (("UPDATE ending SET phase = 'x'",), "row 4 (ending of run 'run_1') was altered"),
        (("UPDATE record SET seq = 9 WHERE seq = 3",), "row 3 is missing"),
    ],
)
def test_a_missing_or_altered_row_of_any_table_is_named(
    tmp_path: Path, changes: tuple[str, ...], told: str
) -> None:
    """D1: also a cut tail, by the head that counts."""
    path = tmp_path / "records.sqlite"
    store = filled(path)

    changed(path, *changes)

    assert store.verify() == told
    store.close()


def test_a_record_that_is_not_there_is_refused_by_number(tmp_path: Path) -> None:
    """A typing error is no empty answer."""
    store = filled(tmp_path / "records.sqlite")

    with pytest.raises(RecordsFailed, match="REC002"):
        store.show(99)
    store.close()


def test_an_address_that_cannot_be_reached_is_told_in_one_line(tmp_path: Path) -> None:
    """The message names the address, not a stack."""
    with pytest.raises(RecordsFailed, match="REC001"):
        RecordStore(f"sqlite:///{tmp_path}/nowhere/records.sqlite")
