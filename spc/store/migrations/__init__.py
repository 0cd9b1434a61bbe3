"""How the tables came to be what they are, step by step; a store of an older step is taken to the last when opened."""

from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from spc.errors import StoreError
from spc.store.engine import reading, shown, writing

LAST = "m0002"
"""The last step, named by the file in versions/ that takes it."""

KNOWN = ("m0001", LAST)
ONE_AT_A_TIME = 5_217_264_063_419_118
"""Number of the lock under which PostgreSQL lets one process alone change the tables; any number would do."""


def upgrade(engine: Engine, to: str = LAST) -> None:
    """Take the tables to step `to` in one transaction; nothing happens where they stand there.

    Raises:
        StoreError: the store was made by a newer version of this program, or the database refuses.
    """
    with reading(engine) as connection:
        step = current(connection)
    if step == to:
        return
    with writing(engine) as connection:
        if engine.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": ONE_AT_A_TIME})
        step = current(connection)
        if step is None and inspect(connection).has_table("trail"):
            raise StoreError(f"{shown(engine)}: has tables of this name that are no store; give another database")
        if step not in (None, *KNOWN):
            newer = ascii(str(step))[1:-1][:40]  # whatever stands there in a damaged store
            raise StoreError(f"{shown(engine)}: was made by a newer version of this program (step {newer}); update it")
        _run(connection, to)


def current(connection: Connection) -> str | None:
    """Return the step at which the tables stand; None where there are none."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


def _run(connection: Connection, to: str) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, to)
