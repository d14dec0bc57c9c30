"""The tables of the record store; `rows.py` has what stands in one row.

Units: torque newton metre, pressure pascal, angle radian, time second; ``at`` and ``started`` are
UTC, RFC 3339.
"""

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

METADATA = MetaData()

RUNS = Table(
    "run",
    METADATA,
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("run", String(200), nullable=False, unique=True),
    Column("joint", String(200), nullable=False),
    Column("sequence", String(200), nullable=False),
    Column("plan_digest", String(64), nullable=False),
    Column("started", String(40), nullable=False),
    Column("simulated", Boolean, nullable=False),
    Column("tolerance", Double, nullable=False),
    # Since version 0002; null in older rows, whose digests were made without them.
    Column("windows", JSON(none_as_null=True)),
    Column("tools", JSON(none_as_null=True)),
    Column("digest", String(64), nullable=False),
)

ENDINGS = Table(
    "ending",
    METADATA,
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("run", String(200), nullable=False),
    Column("phase", String(40), nullable=False),
    Column("reason", Text, nullable=False),
    Column("at", String(40), nullable=False),
    Column("digest", String(64), nullable=False),
)

RECORDS = Table(
    "record",
    METADATA,
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("run", String(200), nullable=False, index=True),
    Column("joint", String(200), nullable=False),
    Column("sequence", String(200), nullable=False),
    Column("side", String(200), nullable=False),
    Column("command", BigInteger, nullable=False),
    Column("step", String(200), nullable=False),
    Column("bolt", Integer, nullable=False),
    Column("kind", String(40), nullable=False),
    Column("round", Integer, nullable=False),
    Column("attempt", Integer, nullable=False),
    Column("outcome", String(40), nullable=False),
    Column("fault", String(200), nullable=False),
    Column("target_nm", Double, nullable=False),
    Column("torque_nm", Double),
    Column("pressure_pa", Double),
    Column("angle_rad", Double),
    Column("simulated", Boolean, nullable=False),
    Column("tool", String(200), nullable=False),
    Column("at", String(40), nullable=False, index=True),
    Column("results", JSON, nullable=False),
    Column("trace_time_s", JSON, nullable=False),
    Column("trace_torque_nm", JSON, nullable=False),
    Column("trace_pressure_pa", JSON, nullable=False),
    Column("trace_angle_rad", JSON, nullable=False),
    Column("verdict", String(40), nullable=False),
    Column("reasons", JSON, nullable=False),
    Column("digest", String(64), nullable=False),
    # A resumed run proves nothing twice: a command has one outcome.
    UniqueConstraint("run", "side", "command"),
)

JUDGEMENTS = Table(
    "judgement",
    METADATA,
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("run", String(200), nullable=False),
    Column("record", Integer, nullable=False, index=True),
    Column("windows", JSON, nullable=False),
    Column("verdict", String(40), nullable=False),
    Column("reasons", JSON, nullable=False),
    Column("who", String(200), nullable=False),
    Column("at", String(40), nullable=False),
    Column("digest", String(64), nullable=False),
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
