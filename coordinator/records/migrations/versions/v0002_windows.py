"""Windows and tools of a run, and judgements beside the first verdict."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add what came with the second version; rows of the first keep their digests."""
    op.add_column("run", sa.Column("windows", sa.JSON(none_as_null=True)))
    op.add_column("run", sa.Column("tools", sa.JSON(none_as_null=True)))
    op.create_table(
        "judgement",
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("run", sa.String(200), nullable=False),
        sa.Column("record", sa.Integer, nullable=False),
        sa.Column("windows", sa.JSON, nullable=False),
        sa.Column("verdict", sa.String(40), nullable=False),
        sa.Column("reasons", sa.JSON, nullable=False),
        sa.Column("who", sa.String(200), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
    )
    op.create_index("ix_judgement_record", "judgement", ["record"])
    op.create_index("ix_record_at", "record", ["at"])
