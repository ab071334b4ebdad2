"""Which version the tables are of, bringing them to this one, and whether what is in them is whole."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect, select, text

from service.store.errors import NewerDatabase, OlderDatabase, Unfinished
from service.store.tables import ServiceMark, table_of

MIGRATIONS = Path(__file__).parent / "migrations"
# Any number that nothing else on the server locks; instances that start together migrate one by one.
MIGRATION_LOCK = 7_214_035_114

VERSIONS = "alembic_version"
"""The table that says which version the others are of."""

MOVING = "moving"
"""The mark of a database that a move is filling, or has begun to fill."""


def scripts() -> Config:
    """The migrations as they lie beside this file, installed or not."""
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config


def check(connection: Connection, place: str) -> None:
    """Raise `NewerDatabase`, `OlderDatabase` or `Unfinished` unless the tables are of this version and whole."""
    refuse_unfinished(connection, place)
    if behind(connection, place):
        raise OlderDatabase(
            f"The database {place} has not been brought up to this version of bellcheck. "
            "Make a backup, then start the service once or apply the configuration."
        )


def upgrade(connection: Connection, place: str) -> None:
    """Run the missing migrations in one transaction. Raises `NewerDatabase`."""
    if connection.dialect.name == "sqlite":
        # A table that is rebuilt is dropped in between; this setting cannot change inside a transaction.
        connection.connection.driver_connection.execute("PRAGMA foreign_keys=OFF")  # type: ignore[union-attr]
    try:
        with connection.begin():
            if connection.dialect.name == "postgresql":
                connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": MIGRATION_LOCK})
            if behind(connection, place):
                config = scripts()
                config.attributes["connection"] = connection
                command.upgrade(config, "head")
    finally:
        if connection.dialect.name == "sqlite":
            connection.connection.driver_connection.execute("PRAGMA foreign_keys=ON")  # type: ignore[union-attr]


def refuse_unfinished(connection: Connection, place: str) -> None:
    """Raise `Unfinished` where a move into this database was broken off."""
    marks = table_of(ServiceMark)
    if not inspect(connection).has_table(marks.name):
        return
    if connection.execute(select(marks.c.key).where(marks.c.key == MOVING)).first() is not None:
        raise Unfinished(
            f"A move into the database {place} was broken off, or is not over yet: nothing in it may be used. Run "
            "`bellcheck move` again from where the data lies; this database may be named once more as it is."
        )


def behind(connection: Connection, place: str) -> bool:
    """Whether migrations are missing. Raises `NewerDatabase` where the database is ahead of the program."""
    directory = ScriptDirectory.from_config(scripts())
    known = {script.revision for script in directory.walk_revisions()}
    present = set(MigrationContext.configure(connection).get_current_heads())
    if present - known:
        raise NewerDatabase(
            f"The database {place} was written by a newer version of bellcheck. "
            "Install that version again, or go back to the backup made before it."
        )
    return present != set(directory.get_heads())
