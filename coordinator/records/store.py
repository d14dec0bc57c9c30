"""Keep a record of every bolt, round and attempt, chained so that a change shows.

One file (or one database of a fleet) holds many runs. Runs, endings and records share one
numbering and one chain; the head says how many there are.

Keeps: D1, `verify` names the first altered row and a cut tail; D2, a command is recorded once.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from sqlalchemy import (
    Connection,
    Engine,
    RowMapping,
    Table,
    create_engine,
    event,
    insert,
    select,
    update,
)
from sqlalchemy.exc import SQLAlchemyError

from coordinator.records.event_codec import canonical
from coordinator.records.rows import RecordFilter, Run, StoredRecord
from coordinator.records.tables import CHAINED, ENDINGS, HEAD, METADATA, RECORDS, RUNS

_TUPLES = (
    "trace_time_s",
    "trace_torque_nm",
    "trace_pressure_pa",
    "trace_angle_rad",
    "reasons",
)


class RecordsFailed(Exception):  # noqa: N818 (it says what happened)
    """The record store cannot be read or written. Codes REC001 and REC002."""


class RecordStore:
    """The record store behind a database address, made if it is not there.

    Args:
        address: SQLAlchemy's, such as ``sqlite:///records.sqlite``.

    Raises:
        RecordsFailed: REC001, it cannot be reached or made.
    """

    def __init__(self, address: str = "sqlite:///records.sqlite") -> None:
        self.address = address
        try:
            self._engine = create_engine(address)
            if self._engine.dialect.name == "sqlite":
                _make_durable(self._engine)
            METADATA.create_all(self._engine)
            with self._engine.begin() as connection:
                if connection.execute(select(HEAD)).first() is None:
                    connection.execute(insert(HEAD).values(id=1, seq=0, digest=""))
        except SQLAlchemyError as error:
            raise _failed(address, error) from None

    def begin_run(self, run: Run) -> None:
        """Note a run; a resumed one is noted already and stays as it is."""
        row = {name: value for name, value in asdict(run).items() if name in RUNS.c}
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

    def list_records(self, wanted: RecordFilter | None = None) -> tuple[StoredRecord, ...]:
        """Return the records that fit, in the order in which they were written."""
        query = select(RECORDS).order_by(RECORDS.c.seq)
        for name, value in asdict(wanted or RecordFilter()).items():
            if value is not None:
                query = query.where(RECORDS.c[name] == value)
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
            raise RecordsFailed(f"{self.address}: no record {seq}; list them first [REC002]")
        return _record(row)

    def runs(self) -> tuple[Run, ...]:
        """Return all runs, oldest first, each with how it ended."""
        with self._transaction() as connection:
            rows = connection.execute(select(RUNS).order_by(RUNS.c.seq)).mappings().all()
            ends = connection.execute(select(ENDINGS).order_by(ENDINGS.c.seq)).mappings().all()
        last = {end["run"]: end for end in ends}
        found = []
        for row in rows:
            values = {name: row[name] for name in row if name not in ("seq", "digest")}
            if row["run"] in last:
                values |= {name: last[row["run"]][name] for name in ("phase", "reason")}
            found.append(Run(**values))
        return tuple(found)

    def head(self) -> tuple[int, str]:
        """Return how many rows the chain has, and its last digest, to be kept elsewhere."""
        with self._transaction() as connection:
            seq, digest = connection.execute(select(HEAD.c.seq, HEAD.c.digest)).one()
        return int(seq), str(digest)

    def verify(self) -> str | None:
        """Return what is wrong first, None if every row is as it was written."""
        try:
            with self._engine.begin() as connection:
                rows = [
                    (int(row["seq"]), table.name, dict(row))
                    for table in CHAINED
                    for row in connection.execute(select(table)).mappings()
                ]
                head = connection.execute(select(HEAD.c.seq, HEAD.c.digest)).one()
        except (SQLAlchemyError, ValueError, TypeError) as error:
            return f"unreadable: {_first_line(error)}"
        last = ""
        for expected, (seq, name, row) in enumerate(sorted(rows, key=lambda one: one[0]), start=1):
            if seq != expected:
                return f"row {expected} is missing"
            if row["digest"] != _digest(last, name, row):
                run, bolt = row["run"], row.get("bolt")
                where = "" if bolt is None else f", bolt {bolt}"
                return f"row {seq} ({name} of run '{run}'{where}) was altered"
            last = row["digest"]
        if (len(rows), last) != (head.seq, head.digest):
            return f"row {len(rows) + 1} is missing: the head counts {head.seq}"
        return None

    def close(self) -> None:
        """Let the database go."""
        self._engine.dispose()

    def _transaction(self) -> "_Transaction":
        return _Transaction(self._engine, self.address)


class _Transaction:
    """One transaction whose database errors come out as ours."""

    def __init__(self, engine: Engine, address: str) -> None:
        self._begun = engine.begin()
        self._address = address

    def __enter__(self) -> Connection:
        try:
            return self._begun.__enter__()
        except SQLAlchemyError as error:
            raise _failed(self._address, error) from None

    def __exit__(self, kind: Any, error: Any, traceback: Any) -> None:
        try:
            self._begun.__exit__(kind, error, traceback)
        except SQLAlchemyError as second:
            raise _failed(self._address, second) from None
        if isinstance(error, SQLAlchemyError):
            raise _failed(self._address, error) from None
        if isinstance(error, (ValueError, TypeError)):
            # A column that was written over from outside; `verify` names the row.
            text = f"{self._address}: a row cannot be read ({_first_line(error)}); verify [REC001]"
            raise RecordsFailed(text) from None


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
    told = {name: value for name, value in row.items() if name != "digest"}
    return hashlib.sha256(canonical([previous, table, told]).encode()).hexdigest()


def _record(row: RowMapping) -> StoredRecord:
    values: dict[str, Any] = dict(row)
    for name in _TUPLES:
        values[name] = tuple(values[name])
    pairs: Sequence[Sequence[Any]] = values["results"]
    values["results"] = tuple((str(name), float(number)) for name, number in pairs)
    return StoredRecord(**values)


def _failed(address: str, error: BaseException) -> RecordsFailed:
    return RecordsFailed(f"{address}: {_first_line(error)}; check the address [REC001]")


def _first_line(error: BaseException) -> str:
    return str(getattr(error, "orig", None) or error).splitlines()[0]
