"""How long listing, filtering and exporting many records takes, beside plain SQL of the same data.

``python -m tests.bench.bench_records [COUNT]``; prints ratios, asserts nothing.
"""

import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from sqlalchemy import insert

from coordinator.records.export import export
from coordinator.records.rows import RecordFilter, Run
from coordinator.records.store import RecordStore
from coordinator.records.tables import RECORDS
from tests.bench.results import Results

COUNT = 100_000
TRACE = [round(place * 0.1, 1) for place in range(60)]


def fill(path: Path, count: int) -> RecordStore:
    """Write many records at once; their digests are not what is measured."""
    store = RecordStore(f"sqlite:///{path}")
    store.begin_run(Run("run_0", "airlift", "makeup"))
    plain = {
        "joint": "airlift", "sequence": "makeup", "side": "fore", "step": "pull", "kind": "pull",
        "round": 3, "attempt": 1, "outcome": "finished", "fault": "", "target_nm": 1000.0,
        "pressure_pa": 1e7, "angle_rad": 0.7, "simulated": True, "tool": "wrench",
        "results": [["torque_nm", 998.0]], "verdict": "accepted", "reasons": [], "digest": "",
        **{f"trace_{one}": TRACE for one in ("time_s", "torque_nm", "pressure_pa", "angle_rad")},
    }  # fmt: skip
    rows = [
        plain
        | {
            "seq": 2 + place,
            "run": f"run_{place // 64}",
            "command": place,
            "bolt": 1 + place % 8,
            "torque_nm": 990.0 + place % 20,
            "at": f"2030-01-{1 + place % 28:02d}T00:00:00+00:00",
        }
        for place in range(count)
    ]
    with store._engine.begin() as connection:
        connection.execute(insert(RECORDS), rows)
    return store


def timed(work: Callable[[], object]) -> float:
    """Return the seconds that a piece of work takes, the better of two."""
    taken = []
    for _ in range(2):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return min(taken)


def main() -> None:
    """Measure and print."""
    told = Results.begin("records")
    count = int(sys.argv[1]) if len(sys.argv) > 1 else COUNT
    names = ", ".join(
        f'"{column.name}"' for column in RECORDS.c if not column.name.startswith("trace_")
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "records.sqlite"
        store = fill(path, count)
        plain = sqlite3.connect(path)

        def sql(text: str) -> Callable[[], object]:
            return lambda: plain.execute(text).fetchall()

        one_bolt = RecordFilter(bolt=3, since="2030-01-10", until="2030-01-12")
        days = "at >= '2030-01-10' AND at <= '2030-01-12T24'"
        everything = f"SELECT {names} FROM record"
        cases: list[tuple[str, Callable[[], object], Callable[[], object]]] = [
            ("list all", lambda: store.list_records(traces=False), sql(everything)),
            ("one bolt, three days", lambda: store.list_records(one_bolt, traces=False),
             sql(f"SELECT {names} FROM record WHERE bolt = 3 AND {days}")),
            ("one run", lambda: store.list_records(RecordFilter(run="run_7"), traces=False),
             sql(f"SELECT {names} FROM record WHERE run = 'run_7'")),
            ("export to CSV", lambda: export(store.list_records(traces=False), "csv"),
             sql(f"SELECT {names} FROM record")),
        ]  # fmt: skip
        for name, ours, theirs in cases:
            told.add(f"{name}, {count} records", timed(ours) / timed(theirs), "× plain SQL")
        plain.close()
        store.close()
    told.write()


if __name__ == "__main__":
    main()
