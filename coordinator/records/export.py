"""Write records as CSV, JSON or Parquet: units in the names, same bytes from the same data.

Samples of traces are left out of CSV, which has one line for each record, and kept in the others.

Units: as in `rows.py`; every name ends in its unit.
"""

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from coordinator.records.rows import StoredRecord

FORMATS = ("csv", "json", "parquet")
_LISTS = ("trace_time_s", "trace_torque_nm", "trace_pressure_pa", "trace_angle_rad")


def export(records: Sequence[StoredRecord], form: str) -> bytes:
    """Return records as a file of one of `FORMATS`.

    Raises:
        ValueError: there is no such format.
    """
    match form:
        case "csv":
            return _csv(records)
        case "json":
            return _json(records)
        case "parquet":
            return _parquet(records)
    raise ValueError(f"format is '{form}', must be one of {', '.join(FORMATS)}")


def _csv(records: Sequence[StoredRecord]) -> bytes:
    names = [name for name in StoredRecord.__slots__ if name not in (*_LISTS, "results")]
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")  # RFC 4180, 2.1
    writer.writerow(names)
    for one in records:
        writer.writerow([_cell(getattr(one, name)) for name in names])
    return text.getvalue().encode()


def _cell(value: object) -> object:
    if isinstance(value, tuple):
        return " ".join(str(one) for one in value)
    if isinstance(value, bool):
        return "true" if value else "false"
    # A sheet would take such a text for a formula and run it.
    if isinstance(value, str) and value.startswith(("=", "+", "-", "@", "\t", "\r")):
        return "'" + value
    return value


def _json(records: Sequence[StoredRecord]) -> bytes:
    rows = [asdict(one) | {"results": dict(one.results)} for one in records]
    return (json.dumps(rows, ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode()


def _parquet(records: Sequence[StoredRecord]) -> bytes:
    # Imported here: it takes longer than all the rest of the verb.
    import pyarrow as pa
    from pyarrow import parquet

    plain: dict[type, Any] = {int: pa.int64(), float: pa.float64(), bool: pa.bool_()}
    fields = []
    for name, kind in StoredRecord.__annotations__.items():
        if name in _LISTS:
            fields.append(pa.field(name, pa.list_(pa.float64())))
        elif name == "results":
            fields.append(pa.field(name, pa.map_(pa.string(), pa.float64())))
        elif name == "reasons":
            fields.append(pa.field(name, pa.list_(pa.string())))
        else:
            fields.append(pa.field(name, plain.get(kind, _type_of(kind, pa))))
    rows = [{name: getattr(one, name) for name in StoredRecord.__slots__} for one in records]
    table = pa.Table.from_pylist(rows, schema=pa.schema(fields))
    sink = io.BytesIO()
    parquet.write_table(table, sink, compression="zstd")
    return sink.getvalue()


def _type_of(kind: object, pa: Any) -> Any:
    return pa.float64() if kind == (float | None) else pa.string()
