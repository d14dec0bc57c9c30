"""The tables of the record store; `rows.py` has what stands in one row.

Units: torque newton metre, pressure pascal, angle radian, time second; ``at`` and ``started`` are
UTC, RFC 3339.
"""

from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Column,
    Double,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.types import TypeEngine

METADATA = MetaData()
NAME, WORD, MOMENT, SHA256 = String(200), String(40), String(40), String(64)


def _given(kind: TypeEngine[Any], *names: str) -> list[Column[Any]]:
    """Return columns of one kind that every row fills."""
    return [Column(name, kind, nullable=False) for name in names]


def _chained(name: str, *columns: Column[Any] | UniqueConstraint) -> Table:
    """Return a table whose rows stand in the one chain, each with its number and digest."""
    number = Column("seq", Integer, primary_key=True, autoincrement=False)
    constraints = [one for one in columns if isinstance(one, UniqueConstraint)]
    own = [one for one in columns if isinstance(one, Column)]
    return Table(name, METADATA, number, *own, *_given(SHA256, "digest"), *constraints)


RUNS = _chained(
    "run",
    Column("run", NAME, nullable=False, unique=True),
    *_given(NAME, "joint", "sequence"),
    *_given(SHA256, "plan_digest"),
    *_given(MOMENT, "started"),
    *_given(Boolean(), "simulated"),
    *_given(Double(), "tolerance"),
    # Since version 0002; null in older rows, whose digests were made without them.
    Column("windows", JSON(none_as_null=True)),
    Column("tools", JSON(none_as_null=True)),
)

ENDINGS = _chained(
    "ending",
    *_given(NAME, "run"),
    *_given(WORD, "phase"),
    *_given(Text(), "reason"),
    *_given(MOMENT, "at"),
)

RECORDS = _chained(
    "record",
    Column("run", NAME, nullable=False, index=True),
    *_given(NAME, "joint", "sequence", "side"),
    *_given(BigInteger(), "command"),
    *_given(NAME, "step"),
    *_given(Integer(), "bolt"),
    *_given(WORD, "kind"),
    *_given(Integer(), "round", "attempt"),
    *_given(WORD, "outcome"),
    *_given(NAME, "fault"),
    *_given(Double(), "target_nm"),
    *(Column(name, Double) for name in ("torque_nm", "pressure_pa", "angle_rad")),
    *_given(Boolean(), "simulated"),
    *_given(NAME, "tool"),
    Column("at", MOMENT, nullable=False, index=True),
    *_given(JSON(), "results"),
    *_given(JSON(), "trace_time_s", "trace_torque_nm", "trace_pressure_pa", "trace_angle_rad"),
    *_given(WORD, "verdict"),
    *_given(JSON(), "reasons"),
    # A resumed run proves nothing twice: a command has one outcome.
    UniqueConstraint("run", "side", "command"),
)

JUDGEMENTS = _chained(
    "judgement",
    *_given(NAME, "run"),
    Column("record", Integer, nullable=False, index=True),
    *_given(JSON(), "windows"),
    *_given(WORD, "verdict"),
    *_given(JSON(), "reasons"),
    *_given(NAME, "who"),
    *_given(MOMENT, "at"),
)

HEAD = Table(
    "head",
    METADATA,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("seq", Integer, nullable=False),
    Column("digest", String(64), nullable=False),
)

CHAINED = (RUNS, ENDINGS, RECORDS, JUDGEMENTS)
"""Tables whose rows share one numbering and one chain."""

ADDED = (("run", "windows"), ("run", "tools"))
"""Columns that came later: null is left out of a digest, so that older digests still hold."""
