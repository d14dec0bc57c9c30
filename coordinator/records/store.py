"""Keep a record of every bolt, round and attempt, chained so that a change shows.

One file (or one database of a fleet) holds many runs. Runs, endings and records share one
numbering and one chain; the head says how many there are.

Invariants: RC6, `verify` names the first altered row and a cut tail; RC7, a command is recorded
once.
"""

import contextlib
import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from sqlalchemy import (
    Connection,
    Engine,
    RowMapping,
    Select,
    Table,
    create_engine,
    event,
    insert,
    make_url,
    select,
    update,
)
from sqlalchemy.exc import SQLAlchemyError

from coordinator.extras import missing_extra
from coordinator.records.event_codec import canonical
from coordinator.records.rows import LaterJudgement, RecordFilter, Run, StoredRecord
from coordinator.records.tables import ADDED, CHAINED, ENDINGS, HEAD, JUDGEMENTS, RECORDS, RUNS
from coordinator.records.upgrade import LaterStore, prepare
from coordinator.records.windows import Calibration, Windows

_TUPLES = (
    "trace_time_s",
    "trace_torque_nm",
    "trace_pressure_pa",
    "trace_angle_rad",
    "reasons",
)
_TRACES = tuple(column for column in RECORDS.c if column.name.startswith("trace_"))
DAY_END = "T24"
"""Behind a day it stands after every moment of that day."""
DAY_LENGTH = len("2030-01-01")


class RecordsFailed(Exception):  # noqa: N818 (it says what happened)
    """The record store cannot be read or written. Codes REC001, REC002 and REC003."""


class RecordStore:
    """The record store behind a database address, made if it is not there.

    Args:
        address: SQLAlchemy's, such as ``sqlite:///records.sqlite`` or
            ``postgresql+psycopg://user@host/fleet``.

    Raises:
        RecordsFailed: REC001, it cannot be reached or made; REC003, a later version wrote it.
    """

    def __init__(self, address: str = "sqlite:///records.sqlite") -> None:
        self.address = address
        try:
            # The driver of a database server may not be installed.
            self._engine = create_engine(address)
        except ImportError as error:
            text = missing_extra("server", shown(address)) if "+psycopg:" in address else str(error)
            raise RecordsFailed(f"{text or error} [REC001]") from None
        except SQLAlchemyError as error:
            raise _failed(address, error) from None
        try:
            if self._engine.dialect.name == "sqlite":
                _make_durable(self._engine)
            prepare(self._engine)
        except LaterStore as error:
            self._engine.dispose()
            raise RecordsFailed(f"{shown(address)}: {error}") from None
        except SQLAlchemyError as error:
            self._engine.dispose()
            raise _failed(address, error) from None

    def begin_run(self, run: Run) -> None:
        """Note a run; a resumed one is noted already and stays as it is."""
        row = {name: value for name, value in asdict(run).items() if name in RUNS.c}
        row["windows"] = None if run.windows is None else run.windows.to_data()
        row["tools"] = None if run.tools is None else [asdict(one) for one in run.tools]
        with self._transaction() as connection:
            known = connection.execute(select(RUNS.c.seq).where(RUNS.c.run == run.run)).first()
            if known is None:
                _add(connection, RUNS, row)

    def end_run(self, run: str, phase: str, reason: str, at: str) -> None:
        """Note how a run ended, or how it was left; the last note counts."""
        row = {"run": run, "phase": phase, "reason": reason, "at": at}
        with self._transaction() as connection:
            _add(connection, ENDINGS, row)

    def add(self, row: dict[str, Any]) -> bool:
        """Add one record, all columns but `seq` and `digest`; False if its command has one."""
        known = select(RECORDS.c.seq).where(
            RECORDS.c.run == row["run"],
            RECORDS.c.side == row["side"],
            RECORDS.c.command == row["command"],
        )
        with self._transaction() as connection:
            if connection.execute(known).first() is not None:
                return False
            _add(connection, RECORDS, row)
        return True

    def add_judgement(self, made: LaterJudgement) -> None:
        """Note what a record was judged to be afterwards; its first verdict stays."""
        row = {name: value for name, value in asdict(made).items() if name in JUDGEMENTS.c}
        row |= {"windows": made.windows.to_data(), "reasons": list(made.reasons)}
        with self._transaction() as connection:
            _add(connection, JUDGEMENTS, row)

    def judgements(self, run: str | None = None) -> tuple[LaterJudgement, ...]:
        """Return later judgements in the order in which they were made."""
        query = select(JUDGEMENTS).order_by(JUDGEMENTS.c.seq)
        if run is not None:
            query = query.where(JUDGEMENTS.c.run == run)
        with self._transaction() as connection:
            return tuple(_judgement(row) for row in connection.execute(query).mappings())

    def list_records(
        self,
        wanted: RecordFilter | None = None,
        *,
        traces: bool = True,
        after: int = 0,
        limit: int | None = None,
    ) -> tuple[StoredRecord, ...]:
        """Return the records that fit, in the order in which they were written.

        Args:
            wanted: Which; all without it.
            traces: False leaves the samples out, which takes a fraction of the time.
            after: Only records with a number above this.
            limit: At most so many.
        """
        columns = [one for one in RECORDS.c if traces or one not in _TRACES]
        query = _filtered(select(*columns), wanted or RecordFilter()).order_by(RECORDS.c.seq)
        query = query.where(RECORDS.c.seq > after).limit(limit)
        with self._transaction() as connection:
            return tuple(_record(row) for row in connection.execute(query).mappings())

    def show(self, seq: int) -> StoredRecord:
        """Return one record by its number.

        Raises:
            RecordsFailed: REC002, there is none.
        """
        with self._transaction() as connection:
            query = select(RECORDS).where(RECORDS.c.seq == seq)
            row = connection.execute(query).mappings().first()
        if row is None:
            raise RecordsFailed(f"{shown(self.address)}: no record {seq}; list them first [REC002]")
        return _record(row)

    def runs(self) -> tuple[Run, ...]:
        """Return all runs, oldest first, each with how it ended."""
        with self._transaction() as connection:
            rows = connection.execute(select(RUNS).order_by(RUNS.c.seq)).mappings().all()
            ends = connection.execute(select(ENDINGS).order_by(ENDINGS.c.seq)).mappings().all()
        last = {end["run"]: end for end in ends}
        found = []
        for row in rows:
            values: dict[str, Any] = {
                name: row[name] for name in row if name not in ("seq", "digest")
            }
            if row["windows"] is not None:
                values["windows"] = Windows.from_data(row["windows"])
            if row["tools"] is not None:
                values["tools"] = tuple(Calibration(**one) for one in row["tools"])
            if row["run"] in last:
                values |= {name: last[row["run"]][name] for name in ("phase", "reason")}
            found.append(Run(**values))
        return tuple(found)

    def head(self) -> tuple[int, str]:
        """Return how many rows the chain has, and its last digest, to be kept elsewhere."""
        with self._transaction() as connection:
            seq, digest = connection.execute(select(HEAD.c.seq, HEAD.c.digest)).one()
        return int(seq), str(digest)

    def digests(self) -> tuple[str, ...]:
        """Return the digest of every row of the chain, in its order."""
        with self._transaction() as connection:
            rows = [
                (int(row.seq), str(row.digest))
                for table in CHAINED
                for row in connection.execute(select(table.c.seq, table.c.digest))
            ]
        return tuple(digest for _, digest in sorted(rows))

    def verify(self) -> str | None:
        """Return what is wrong first, None if every row is as it was written."""
        finding, _, _ = self.verified()
        return finding

    def verified(self) -> tuple[str | None, int, str]:
        """Return what is wrong first (None for nothing), and the head that was compared with.

        Head and rows are those of one moment: a row that is being written meanwhile is no finding.
        """
        try:
            with self._snapshot() as connection:
                rows = [
                    (int(row["seq"]), table.name, dict(row))
                    for table in CHAINED
                    for row in connection.execute(select(table)).mappings()
                ]
                head = connection.execute(select(HEAD.c.seq, HEAD.c.digest)).one()
        except (SQLAlchemyError, ValueError, TypeError) as error:
            return f"unreadable: {_first_line(error)}", 0, ""
        return _first_finding(rows, head.seq, head.digest), int(head.seq), str(head.digest)

    @contextlib.contextmanager
    def _snapshot(self) -> Iterator[Connection]:
        """Open a transaction whose queries all see the same moment."""
        with self._engine.connect() as connection:
            if self._engine.dialect.name == "sqlite":
                # The driver begins a transaction at the first write only: each query of a reader
                # would see a moment of its own.
                connection.exec_driver_sql("BEGIN")
            else:
                connection.execution_options(isolation_level="REPEATABLE READ")
            yield connection

    def close(self) -> None:
        """Let the database go."""
        self._engine.dispose()

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[Connection]:
        """Open a transaction whose database errors come out as ours."""
        try:
            with self._engine.begin() as connection:
                yield connection
        except SQLAlchemyError as error:
            raise _failed(self.address, error) from None
        except (ValueError, TypeError) as error:
            # A column that was written over from outside; `verify` names the row.
            what = f"a row cannot be read ({_first_line(error)})"
            raise RecordsFailed(f"{shown(self.address)}: {what}; verify [REC001]") from None


def _make_durable(engine: Engine) -> None:
    @event.listens_for(engine, "connect")
    def _set(connection: Any, _: Any) -> None:
        cursor = connection.cursor()
        cursor.execute("PRAGMA journal_mode = WAL")
        cursor.execute("PRAGMA synchronous = FULL")
        cursor.close()


def _add(connection: Connection, table: Table, row: dict[str, Any]) -> None:
    # The head is changed first: that takes the write lock, so that two writers form one chain.
    connection.execute(update(HEAD).values(seq=HEAD.c.seq + 1))
    head = connection.execute(select(HEAD.c.seq, HEAD.c.digest)).one()
    row = row | {"seq": head.seq}
    row["digest"] = _digest(head.digest, table.name, row)
    connection.execute(insert(table).values(**row))
    connection.execute(update(HEAD).values(digest=row["digest"]))


def _digest(previous: str, table: str, row: dict[str, Any]) -> str:
    told = {
        name: value
        for name, value in row.items()
        if name != "digest" and not (value is None and (table, name) in ADDED)
    }
    return hashlib.sha256(canonical([previous, table, told]).encode()).hexdigest()


def _first_finding(
    rows: Sequence[tuple[int, str, dict[str, Any]]], count: int, digest: str
) -> str | None:
    """Return what is wrong first with a chain of (number, table, row), None for nothing."""
    last = ""
    for expected, (seq, name, row) in enumerate(sorted(rows, key=lambda one: one[0]), start=1):
        if seq != expected:
            return f"row {expected} is missing"
        if row["digest"] != _digest(last, name, row):
            run, bolt = row["run"], row.get("bolt")
            where = "" if bolt is None else f", bolt {bolt}"
            return f"row {seq} ({name} of run '{run}'{where}) was altered"
        last = row["digest"]
    if (len(rows), last) != (count, digest):
        return f"row {len(rows) + 1} is missing: the head counts {count}"
    return None


def _filtered(query: Select[Any], wanted: RecordFilter) -> Select[Any]:
    for name, value in asdict(wanted).items():
        if value is not None and name in RECORDS.c:
            query = query.where(RECORDS.c[name] == value)
    if wanted.since is not None:
        query = query.where(RECORDS.c.at >= wanted.since)
    if wanted.until is not None:
        end = DAY_END if len(wanted.until) == DAY_LENGTH else ""
        query = query.where(RECORDS.c.at <= wanted.until + end)
    return query


def _record(row: RowMapping) -> StoredRecord:
    values: dict[str, Any] = dict(row)
    for name in _TUPLES:
        values[name] = tuple(values.get(name, ()))
    pairs: Sequence[Sequence[Any]] = values["results"]
    values["results"] = tuple((str(name), float(number)) for name, number in pairs)
    return StoredRecord(**values)


def _judgement(row: RowMapping) -> LaterJudgement:
    values: dict[str, Any] = dict(row)
    values["windows"] = Windows.from_data(values["windows"])
    values["reasons"] = tuple(values["reasons"])
    return LaterJudgement(**values)


def shown(address: str) -> str:
    """Return a database address as people may see it, without its password."""
    return make_url(address).render_as_string(hide_password=True)


def _failed(address: str, error: BaseException) -> RecordsFailed:
    try:
        address = shown(address)
    except SQLAlchemyError:
        address = "the record store"
    return RecordsFailed(f"{address}: {_first_line(error)}; check the address [REC001]")


def _first_line(error: BaseException) -> str:
    return str(getattr(error, "orig", None) or error).splitlines()[0]


def store_address(out: Path, records: str | None) -> str:
    """Return where the records of a run go: a database that is named, or a file in its folder."""
    return records or f"sqlite:///{out / 'records.sqlite'}"
