"""What tells the database that was served from last from a copy put in its place.

On PostgreSQL the server says it: a restored database lies under other numbers. An SQLite file looks the same
wherever it lies; so heartbeats are counted in the database and in a small file beside it, which no backup takes along.
"""

import os
from pathlib import Path

from sqlalchemy import text
from sqlmodel import Session

from service.store.base import Store

PLACE = """
SELECT (SELECT system_identifier FROM pg_control_system()) || '/' ||
       (SELECT timeline_id FROM pg_control_checkpoint()) || '/' ||
       (SELECT oid FROM pg_database WHERE datname = current_database()) || '/' ||
       to_regclass('service_marks')::oid
"""
"""Cluster, its timeline (a new one after recovery to a point in time), database and table; see PostgreSQL,
"System Information Functions", control data functions.
"""

NUMBER = 20
"""Digits of a count in the file beside; a fixed width is overwritten in one piece."""


def place_on_server(tx: Session) -> str | None:
    """Where the database lies on its server; None on SQLite."""
    if tx.connection().dialect.name == "sqlite":
        return None
    found: str = tx.connection().execute(text(PLACE)).scalar_one()
    return found


def beside(store: Store) -> Path | None:
    """The file beside an SQLite database in which heartbeats are counted."""
    if store.dialect != "sqlite" or store.in_memory:
        return None
    return Path(f"{store.url.database}.beats")


def counted_beside(store: Store) -> tuple[str, int] | None:
    """Whose heartbeats the file beside counts, and how many; None where there is no such file."""
    path = beside(store)
    try:
        words = path.read_text("ascii").split() if path else []
        return words[1], int(words[0])
    except (OSError, ValueError, IndexError):
        return None


def count_beside(store: Store, instance: str, beats: int) -> None:
    """Write the count down beside the database. Raises `OSError` where the file cannot be written."""
    path = beside(store)
    if path is None:
        return
    file = os.open(path, os.O_WRONLY | os.O_CREAT, 0o600)
    try:
        os.pwrite(file, f"{beats:0{NUMBER}} {instance}\n".encode("ascii"), 0)
    finally:
        os.close(file)
