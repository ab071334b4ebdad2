"""What can go wrong with the database, in plain words, and how a driver's error becomes one of these.

No message repeats a stored value: what a driver says about the offending row may hold somebody's words.
The names say how the database is; "Error" on each would say nothing more.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, IntegrityError, TimeoutError


class StoreError(Exception):
    """The database could not do what was asked; the message says what and what would help."""


class DatabaseBusy(StoreError):
    """Another process holds the database longer than we wait."""


class DatabaseFull(StoreError):
    """No space is left where the database lives."""


class DatabaseReadOnly(StoreError):
    """The database may be read but not written."""


class DatabaseUnreachable(StoreError):
    """The file cannot be opened or the server does not answer."""


class DiskFails(StoreError):
    """The disk or file system under the database does not do what it is asked."""


class DatabaseDamaged(StoreError):
    """The file is not a database, or its pages contradict each other."""


class DatabaseConflict(StoreError):
    """A row breaks a rule of its table: a key twice, a value missing, a row it refers to absent."""


class NewerDatabase(StoreError):
    """The database was written by a newer version of the program."""


class OlderDatabase(StoreError):
    """The database has not been brought up to this version of the program."""


class AlreadyServing(StoreError):
    """Another process serves from this SQLite database."""


class NotEmpty(StoreError):
    """A database that was to be filled holds something already."""


class Unfinished(StoreError):
    """A move into this database was broken off: what is in it is not whole."""


ADVICE: dict[type[StoreError], str] = {
    DatabaseBusy: "The database {place} is held by another process. Try again in a moment; "
    "if it stays so, stop the other process.",
    DatabaseFull: "There is no space left for the database {place}. Nothing of this step was kept; "
    "free some space and go on.",
    DatabaseReadOnly: "The database {place} can be read but not written. Check who owns the file and its "
    "folder, or that the server takes writes.",
    DatabaseUnreachable: "The database {place} cannot be opened. Check that the folder exists and may be "
    "written, or that the server runs and lets us in.",
    DiskFails: "The disk under the database {place} fails: it cannot be read or written. Look at this machine's log; "
    "where the file system has gone read-only, stop the service, check the file system and start again.",
    DatabaseDamaged: "The file {place} is not a sound database. Put it aside and go back to the last backup.",
}

SQLITE_CODES: dict[int, type[StoreError]] = {
    sqlite3.SQLITE_BUSY: DatabaseBusy,
    sqlite3.SQLITE_LOCKED: DatabaseBusy,
    sqlite3.SQLITE_FULL: DatabaseFull,
    sqlite3.SQLITE_READONLY: DatabaseReadOnly,
    sqlite3.SQLITE_CANTOPEN: DatabaseUnreachable,
    sqlite3.SQLITE_IOERR: DiskFails,
    sqlite3.SQLITE_PERM: DatabaseUnreachable,
    sqlite3.SQLITE_NOTADB: DatabaseDamaged,
    sqlite3.SQLITE_CORRUPT: DatabaseDamaged,
}

# PostgreSQL, "Appendix A. PostgreSQL Error Codes": whole codes first, then classes.
POSTGRESQL_CODES: dict[str, type[StoreError]] = {
    "55P03": DatabaseBusy,
    "40P01": DatabaseBusy,
    "40001": DatabaseBusy,
    "53300": DatabaseBusy,
    "53100": DatabaseFull,
    "25006": DatabaseReadOnly,
    "42501": DatabaseReadOnly,
    "3D000": DatabaseUnreachable,
    "58030": DiskFails,
    "08": DatabaseUnreachable,
    "28": DatabaseUnreachable,
    "57": DatabaseUnreachable,
    "XX": DatabaseDamaged,
}


@contextmanager
def plain_errors(place: str) -> Iterator[None]:
    """Turn what a driver raises inside into a `StoreError` about the database at `place`."""
    try:
        yield
    except DBAPIError as error:
        raise explained(error, place) from None
    except TimeoutError:
        raise DatabaseBusy(ADVICE[DatabaseBusy].format(place=place)) from None


def explained(error: DBAPIError, place: str) -> StoreError:
    """The `StoreError` that says what `error` means for the database at `place`."""
    kind = kind_of(error)
    if kind in ADVICE:
        return kind(ADVICE[kind].format(place=place))
    asked = " ".join((error.statement or "a statement").split()[:3])
    return kind(f"The database {place} refused {asked} …: {primary_message(error)}")


def kind_of(error: DBAPIError) -> type[StoreError]:
    """Which of our errors a driver's error is."""
    if isinstance(error, IntegrityError):
        return DatabaseConflict
    code = getattr(error.orig, "sqlite_errorcode", None)
    if code is not None:
        return SQLITE_CODES.get(code & 0xFF, StoreError)
    state = getattr(error.orig, "sqlstate", None)
    if state is not None:
        return POSTGRESQL_CODES.get(state) or POSTGRESQL_CODES.get(state[:2], StoreError)
    lost = error.connection_invalidated or type(error.orig).__name__ == "OperationalError"
    return DatabaseUnreachable if lost else StoreError


def primary_message(error: DBAPIError) -> str:
    """The driver's first line, without the part that quotes rows."""
    diagnosis = getattr(error.orig, "diag", None)
    primary = getattr(diagnosis, "message_primary", None)
    return primary or str(error.orig).splitlines()[0]
