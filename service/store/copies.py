"""Whole copies of an SQLite file, made while it is written to, and proved sound before they count."""

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from service.store.errors import StoreError

PARTS = ("", "-wal", "-shm")
"""The files that make up one SQLite database."""


def copy(source: Path, to: Path) -> None:
    """Copy through SQLite's own backup, so that writers go on; readable to the owner alone.

    Raises `StoreError` where the copy is not sound or cannot be made; then there is no file at `to`.
    """
    part = to.with_name(to.name + ".part")
    try:
        os.close(os.open(part, os.O_CREAT | os.O_WRONLY | os.O_TRUNC, 0o600))
        address = f"{source.resolve().as_uri()}?mode=ro"
        with closing(sqlite3.connect(address, uri=True)) as here, closing(sqlite3.connect(part)) as there:
            # In one step: a copy in parts begins again whenever another process writes, and might never end.
            here.backup(there)
            (sound,) = there.execute("PRAGMA integrity_check").fetchone()
        if sound != "ok":
            raise StoreError(f"The copy of {source} is not sound ({sound}); that file may be damaged.")
        kept_on_disk(part)
        part.replace(to)
        kept_on_disk(to.absolute().parent)
    except sqlite3.DatabaseError as error:
        raise StoreError(f"{source} cannot be copied to {to} ({error}).") from None
    except OSError as error:
        raise StoreError(f"{to} cannot be written ({error.strerror}); give a place with room for it.") from None
    finally:
        part.unlink(missing_ok=True)


def put_aside(path: Path, suffix: str) -> Path:
    """Rename a database, with what belongs to it, so that it stays beside; says its new name."""
    aside = path.with_name(f"{path.name}.{suffix}")
    for part in PARTS:
        there = path.with_name(path.name + part)
        if there.exists():
            there.rename(aside.with_name(aside.name + part))
    return aside


def kept_on_disk(path: Path) -> None:
    """Wait until a file, or the names in a folder, would survive a power cut."""
    file = os.open(path, os.O_RDONLY)
    try:
        os.fsync(file)
    finally:
        os.close(file)
