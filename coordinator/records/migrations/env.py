"""Run migrations on the connection that `records/upgrade.py` hands over."""

from alembic import context

from coordinator.records.tables import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
)
with context.begin_transaction():
    context.run_migrations()
