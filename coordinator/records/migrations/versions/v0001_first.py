"""The tables of the first version: runs, endings, records and the head."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables that are not there: a store of the first version has them already."""
    names = sa.inspect(op.get_bind()).get_table_names()
    if "head" in names:
        return
    op.create_table(
        "run",
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("run", sa.String(200), nullable=False, unique=True),
        *(sa.Column(name, sa.String(200), nullable=False) for name in ("joint", "sequence")),
        sa.Column("plan_digest", sa.String(64), nullable=False),
        sa.Column("started", sa.String(40), nullable=False),
        sa.Column("simulated", sa.Boolean, nullable=False),
        sa.Column("tolerance", sa.Double, nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
    )
    op.create_table(
        "ending",
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("run", sa.String(200), nullable=False),
        sa.Column("phase", sa.String(40), nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
    )
    op.create_table("record", *_record_columns())
    op.create_index("ix_record_run", "record", ["run"])
    op.create_table(
        "head",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("seq", sa.Integer, nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
    )
    op.execute("INSERT INTO head (id, seq, digest) VALUES (1, 0, '')")


def _record_columns() -> list[sa.schema.SchemaItem]:
    return [
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
        *(
            sa.Column(name, sa.String(200), nullable=False)
            for name in ("run", "joint", "sequence", "side")
        ),
        sa.Column("command", sa.BigInteger, nullable=False),
        sa.Column("step", sa.String(200), nullable=False),
        sa.Column("bolt", sa.Integer, nullable=False),
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("round", sa.Integer, nullable=False),
        sa.Column("attempt", sa.Integer, nullable=False),
        sa.Column("outcome", sa.String(40), nullable=False),
        sa.Column("fault", sa.String(200), nullable=False),
        sa.Column("target_nm", sa.Double, nullable=False),
        *(sa.Column(name, sa.Double) for name in ("torque_nm", "pressure_pa", "angle_rad")),
        sa.Column("simulated", sa.Boolean, nullable=False),
        sa.Column("tool", sa.String(200), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("results", sa.JSON, nullable=False),
        *(
            sa.Column(f"trace_{name}", sa.JSON, nullable=False)
            for name in ("time_s", "torque_nm", "pressure_pa", "angle_rad")
        ),
        sa.Column("verdict", sa.String(40), nullable=False),
        sa.Column("reasons", sa.JSON, nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.UniqueConstraint("run", "side", "command"),
    ]
