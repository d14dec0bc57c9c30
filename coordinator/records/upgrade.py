"""Bring the tables of a record store to this version, whatever version wrote them.

Invariants: RC8, an old store keeps every row and every digest; a later one is refused, never
touched.
"""

from pathlib import Path

from sqlalchemy import Column, Connection, Engine, String, Table, insert, inspect, select
from sqlalchemy.exc import SQLAlchemyError

from coordinator.records.tables import HEAD, METADATA

VERSION = "0002"
"""Of the tables in `tables.py`; the last module in `migrations/versions`."""
_KNOWN = ("0001", VERSION)
_LOCK = 0x626F6C74
"""Chosen: any number that no other program on the database server takes for itself."""

_VERSIONS = Table("alembic_version", METADATA, Column("version_num", String(32), primary_key=True))


class LaterStore(Exception):  # noqa: N818 (it says what happened)
    """A later version of the program wrote this store. Code REC003."""


def prepare(engine: Engine) -> None:
    """Make the tables if there are none, or bring them to this version.

    Raises:
        LaterStore: REC003.
        SQLAlchemyError: the database does not answer or refuses.
    """
    if _version(engine) == VERSION:
        return
    with engine.begin() as connection:
        _lock(connection)
        names = inspect(connection).get_table_names()
        if HEAD.name not in names:
            METADATA.create_all(connection)
            connection.execute(insert(_VERSIONS).values(version_num=VERSION))
            connection.execute(insert(HEAD).values(id=1, seq=0, digest=""))
        else:
            _migrate(connection)


def _version(engine: Engine) -> str:
    """Return the version that is written in a store, empty if none is."""
    try:
        with engine.connect() as connection:
            found = connection.execute(select(_VERSIONS.c.version_num)).scalar()
    except SQLAlchemyError:
        return ""
    if found and str(found) not in _KNOWN:
        raise LaterStore(
            f"tables have version {found}, must be {VERSION} or older; use the newer program "
            "that wrote them [REC003]"
        )
    return str(found or "")


def _lock(connection: Connection) -> None:
    """Let two programs that open a new store at once make its tables one after the other."""
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql("BEGIN IMMEDIATE")
    elif connection.dialect.name == "postgresql":
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")


def _migrate(connection: Connection) -> None:
    # Imported here: it takes longer than a rehearsal's start and is needed once in a store's life.
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
