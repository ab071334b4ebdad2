"""Whether the database is of this version and keeps what it has acknowledged: its settings, each as a finding."""

import sqlite3
from collections.abc import Iterator, Mapping

from sqlmodel import Session, text

from service.engine.finding import Finding
from service.engine.server_time import SAY_FROM, ServerTime
from service.store.base import Store
from service.store.errors import OlderDatabase, StoreError

OLDEST_SERVER = 15
"""PostgreSQL: the oldest release that this program's tests run on."""

CONNECTIONS = 50
"""At most so many connections one instance opens."""

SERVER_SETTINGS = (
    "server_version_num", "server_encoding", "TimeZone", "fsync", "full_page_writes", "synchronous_commit",
    "max_connections", "superuser_reserved_connections",
)  # fmt: skip

MEND = "mend what is said here, then look again"


def database(store: Store) -> Iterator[Finding]:
    """Everything about the database that can be seen without changing it."""
    try:
        store.check_version()
        yield Finding("database", True, f"{store.place}, of this version")
    except OlderDatabase:
        do = "run `bellcheck backup FILE`, then start the service once: it brings the tables up to this version"
        yield Finding("database", False, f"{store.place} has changes of its tables pending", do)
        return
    except StoreError as error:
        yield Finding("database", False, str(error), f"run `bellcheck apply DIR` once where it is new; else {MEND}")
        return
    try:
        with store.reading() as tx:
            yield from _file(tx) if store.dialect == "sqlite" else _server(tx)
        off = ServerTime(store).measure()
    except StoreError as error:
        yield Finding("database settings", False, str(error), MEND)
        return
    do = "set this machine's clock by a time server"
    yield Finding("clock and database", abs(off) <= SAY_FROM, f"{off.total_seconds():+.1f} s apart", do)


def _file(tx: Session) -> Iterator[Finding]:
    """An SQLite file: its pages, its journal, and whether a commit waits for the disk."""
    first = str(_ask(tx, "PRAGMA quick_check(1)"))
    do = "put the file aside and go back to the last backup"
    yield Finding("pages of the database", first == "ok", first, do)
    journal, waits = str(_ask(tx, "PRAGMA journal_mode")), _ask(tx, "PRAGMA synchronous") in (2, 3)
    yield Finding(
        "durability",
        waits and journal in ("wal", "memory"),
        f"SQLite {sqlite3.sqlite_version}, journal {journal}, "
        + ("what is acknowledged is on the disk" if waits else "a power cut may lose answers"),
        "keep the file on a disk of this machine, not on a network share",
    )


def _server(tx: Session) -> Iterator[Finding]:
    """A PostgreSQL server: its release, whether a commit waits for the disk, words, time, room for connections."""
    held = {name: str(_ask(tx, "SELECT current_setting(:name)", name=name)) for name in SERVER_SETTINGS}
    release = int(held["server_version_num"]) // 10_000
    yield Finding(
        "database server", release >= OLDEST_SERVER, f"PostgreSQL {release}", f"move to {OLDEST_SERVER} or later"
    )
    yield from _durable(held)
    words, zone = held["server_encoding"], held["TimeZone"]
    do = "make the database anew with ENCODING 'UTF8'; the time zone is set by this program itself"
    yield Finding("words and time", (words, zone) == ("UTF8", "UTC"), f"{words}, {zone}", do)
    free = int(held["max_connections"]) - int(held["superuser_reserved_connections"])
    yield Finding(
        "connections",
        free >= CONNECTIONS,
        f"{free} for all instances; one opens {CONNECTIONS} at most",
        "raise max_connections, or run fewer instances",
    )


def _durable(held: Mapping[str, str]) -> Iterator[Finding]:
    wrong = [name for name in ("fsync", "full_page_writes") if held[name] != "on"]
    wrong += ["synchronous_commit"] if held["synchronous_commit"] == "off" else []
    lost = f"{' and '.join(wrong)} off: a power cut may lose answers"
    found = lost if wrong else "what is acknowledged is on the disk"
    yield Finding("durability", not wrong, found, f"set {', '.join(wrong)} to on")


def _ask(tx: Session, question: str, **values: str) -> object:
    return tx.connection().execute(text(question), values).scalar_one()
