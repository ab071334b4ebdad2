"""One serving process per SQLite database."""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from service.store.errors import AlreadyServing, DatabaseUnreachable

if TYPE_CHECKING:
    from service.store.base import Store


@contextmanager
def serving_lock(store: "Store") -> Iterator[None]:
    """Hold the right to serve from this database until the block ends or the process dies.

    On SQLite it is an operating-system lock on a file beside the database, so a crash leaves nothing to
    clean up. PostgreSQL takes any number of instances. Raises `AlreadyServing`, or `DatabaseUnreachable`
    where the file cannot be made.
    """
    if store.dialect == "postgresql" or store.in_memory:
        yield
        return
    path = Path(f"{store.url.database}.serving")
    try:
        file = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise DatabaseUnreachable(
            f"The file {path} beside the database cannot be opened ({error.strerror}). "
            "Check that the folder exists and may be written."
        ) from None
    try:
        claim_file(file, path)
        yield
    finally:
        os.close(file)


def claim_file(file: int, path: Path) -> None:
    """Lock the file for this process or raise `AlreadyServing`."""
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        holder = os.pread(file, 20, 0).decode("ascii", "replace").strip() or "unknown"
        raise AlreadyServing(
            f"Another process (number {holder}) already serves from this database and holds {path}. "
            "Stop it first; to run several at once use PostgreSQL."
        ) from None
    os.ftruncate(file, 0)
    os.pwrite(file, str(os.getpid()).encode("ascii"), 0)
