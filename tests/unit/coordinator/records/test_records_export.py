"""Exports: same bytes from the same data, units in the names, nothing a sheet would run."""

import csv
import io
import json
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from pyarrow import parquet

from coordinator.records.export import FORMATS, export
from coordinator.records.rows import StoredRecord
from tests.support.filled_store import filled


@pytest.fixture
def records(tmp_path: Path) -> tuple[StoredRecord, ...]:
    store = filled(f"sqlite:///{tmp_path}/records.sqlite")
    found = store.list_records()
    store.close()
    return found


@pytest.mark.parametrize("form", FORMATS)
def test_the_same_records_give_the_same_bytes(records: tuple[StoredRecord, ...], form: str) -> None:
    """A file that was sent must be comparable with one made later."""
    assert export(records, form) == export(records, form)
    assert export(records, form) != export(records[:1], form)


def test_every_format_holds_the_same_figures(records: tuple[StoredRecord, ...]) -> None:
    """Each file is read back by a library that knows nothing of ours."""
    as_csv = list(csv.DictReader(io.StringIO(export(records, "csv").decode())))
    as_json = json.loads(export(records, "json"))
    table = parquet.read_table(io.BytesIO(export(records, "parquet"))).to_pylist()

    for place, one in enumerate(records):
        assert float(as_csv[place]["torque_nm"]) == one.torque_nm
        assert as_csv[place]["angle_rad"] == ""
        assert as_csv[place]["simulated"] == "true"
        assert as_json[place]["trace_torque_nm"] == list(one.trace_torque_nm)
        assert as_json[place]["results"] == dict(one.results)
        assert table[place]["trace_time_s"] == list(one.trace_time_s)
        assert dict(table[place]["results"]) == dict(one.results)
        plain = {name: value for name, value in asdict(one).items() if isinstance(value, str | int)}
        assert {name: table[place][name] for name in plain} == plain


def test_a_text_that_a_sheet_would_run_is_marked_as_text(
    records: tuple[StoredRecord, ...],
) -> None:
    """A step may be called anything; a cell beginning with = would be a formula."""
    bad = replace(records[0], step="=1+1")

    (line,) = csv.DictReader(io.StringIO(export((bad,), "csv").decode()))

    assert line["step"] == "'=1+1"


def test_an_unknown_format_is_refused_with_those_there_are(
    records: tuple[StoredRecord, ...],
) -> None:
    """The message is all that a person needs."""
    with pytest.raises(ValueError, match="'xls', must be one of csv, json, parquet"):
        export(records, "xls")
