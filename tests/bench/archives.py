"""Databases in which one lived day is laid down again under earlier school days, until they are years of record.

Left out are the trays, and of past chases all but their end.
"""

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date, timedelta
from typing import Protocol

import psycopg
from sqlalchemy import make_url

from tests.engine.engine_morning import DAY

TODAY = date.fromisoformat(DAY)

ANOTHER: Mapping[str, Mapping[str, str]] = {
    "rounds": {},
    "checks": {"state": "'closed'", "result": "coalesce(result, 'working')"},
    "chases": {
        "wake_at": "NULL",
        "ended_at": "coalesce(ended_at, :day || ' 15:00:00.000000')",
        "body": "json_object('chase', json_object('end', coalesce(json_extract(body, '$.chase.end'),"
        " json_object('how', 'answered'))))",
    },
    "statements": {"id": "NULL", "inbox_id": "inbox_id || :day"},
    "inbox": {"id": "id || :day", "external_id": "external_id || :day"},
    "outbox": {
        "id": "id || :day",
        "key": "key || :day",
        "in_reply_to": "in_reply_to || :day",
        "state": "'accepted'",
    },
    "outbox_chases": {"outbox_id": "outbox_id || :day"},
    "journal": {},
    "journal_heads": {},
}
"""The tables that are laid down again, and the columns that become another's otherwise than by their date."""

OF_TODAY = {
    "statements": "check_id LIKE '%' || :today",
    "inbox": "id NOT LIKE '%-__-__'",
    "outbox": "id NOT LIKE '%-__-__'",
    "outbox_chases": "outbox_id NOT LIKE '%-__-__'",
    "journal": "stream LIKE '%/' || :today",
    "journal_heads": "stream LIKE '%/' || :today",
    "chases": "date = :today",
}


def school_days() -> Iterator[date]:
    """The weekdays before today, the last first."""
    day = TODAY
    while True:
        day -= timedelta(days=1)
        if day.weekday() < 5:
            yield day


class Archive(Protocol):
    """A database whose lived day is laid down again under earlier days."""

    def grow_to(self, rows: int) -> int:
        """Lay days down until the journal has so many rows; says how many rows of all tables are new."""

    def size(self) -> int:
        """Bytes that it takes."""

    def close(self) -> None:
        """Let whoever comes next find a database like any other."""


class FileArchive:
    """On SQLite, where the database lays the days down itself."""

    def __init__(self, url: str) -> None:
        self._connection = sqlite3.connect(make_url(url).database or "", isolation_level=None)
        for setting in ("journal_mode=OFF", "synchronous=OFF", "cache_size=-2000000", "foreign_keys=OFF"):
            self._connection.execute(f"PRAGMA {setting}")
        self._days = school_days()
        for table in ANOTHER:
            self._run(
                f"CREATE TEMP TABLE lived_{table} AS SELECT * FROM {table} WHERE {OF_TODAY.get(table, '1')}"
            )
        self._again = {table: self._statement(table) for table in ANOTHER}

    def grow_to(self, rows: int) -> int:
        """Lay days down until the journal has so many rows; says how many rows of all tables are new."""
        before = self._connection.total_changes
        (held,) = self._connection.execute("SELECT count(*) FROM journal").fetchone()
        (each,) = self._connection.execute("SELECT count(*) FROM lived_journal").fetchone()
        while held < rows:
            day = next(self._days).isoformat()
            self._connection.execute("BEGIN")
            for statement in self._again.values():
                self._run(statement, day)
            self._connection.execute("COMMIT")
            held += each
        self._connection.execute("ANALYZE")
        return self._connection.total_changes - before

    def size(self) -> int:
        """Bytes that it takes."""
        (pages,), (page,) = (self._connection.execute(f"PRAGMA page_{of}").fetchone() for of in ("count", "size"))
        return int(pages) * int(page)

    def close(self) -> None:
        """Let whoever comes next find a database like any other."""
        self._connection.execute("PRAGMA journal_mode=WAL")
        self._connection.close()

    def _run(self, statement: str, day: str = "") -> None:
        self._connection.execute(statement, {"today": DAY, "day": day})

    def _statement(self, table: str) -> str:
        described = self._connection.execute(f"PRAGMA table_info({table})").fetchall()
        kinds = {name: kind for _, name, kind, *_ in described}
        own = ANOTHER[table]
        values = [
            own.get(n) or (n if "INT" in k else f"replace({n}, :today, :day)") for n, k in kinds.items()
        ]
        return f"INSERT INTO {table} ({', '.join(kinds)}) SELECT {', '.join(values)} FROM lived_{table}"


ON_SERVER: Mapping[str, str] = {
    "chases.ended_at": f"coalesce(ended_at, '{DAY} 15:00:00+00')",
    "chases.body": "json_build_object('chase', json_build_object('end', coalesce("
    "nullif((body->'chase'->'end')::text, 'null')::json, json_build_object('how', 'answered'))))",
}
"""What PostgreSQL says otherwise."""

CONSTRAINTS = """SELECT conrelid::regclass::text, conname,
    pg_get_constraintdef(oid) || CASE WHEN contype = 'f' AND convalidated THEN ' NOT VALID' ELSE '' END
    FROM pg_constraint WHERE contype IN ('p', 'u', 'f')
        AND (conrelid::regclass::text = ANY(%(named)s) OR confrelid::regclass::text = ANY(%(named)s))
    ORDER BY contype = 'f', oid"""
"""Keys first, then what refers to them; what is copied was whole before, and is not looked through again."""

INDEXES = "SELECT indexname, indexdef FROM pg_indexes WHERE tablename = ANY(%(named)s)"


class ServerArchive:
    """On PostgreSQL: the lived day is copied out once as text, and in again with another date in place of its own."""

    def __init__(self, url: str) -> None:
        address = make_url(url).set(drivername="postgresql").render_as_string(hide_password=False)
        self._connection = psycopg.connect(address, autocommit=True)
        # Like a restore: what is copied was whole before.
        self._connection.execute("SET session_replication_role = replica")
        self._connection.execute("SET synchronous_commit = off")
        self._connection.execute("SET maintenance_work_mem = '512MB'")
        self._days = school_days()
        self._lived = {table: self._copied_out(table) for table in ANOTHER}
        self._each = sum(text.count(b"\n") for _, text in self._lived.values())

    def grow_to(self, rows: int) -> int:
        """Lay days down until the journal has so many rows; says how many rows of all tables are new."""
        held = self._count("SELECT count(*) FROM journal")
        days = max(0, -(-(rows - held) // self._lived["journal"][1].count(b"\n")))
        with self._connection.transaction(), self._without_indexes(), self._connection.cursor() as cursor:
            for day in (next(self._days).isoformat().encode() for _ in range(days)):
                for into, text in self._lived.values():
                    with cursor.copy(into) as copy:
                        copy.write(text.replace(DAY.encode(), day))
        self._connection.execute("VACUUM ANALYZE")
        return days * self._each

    @contextmanager
    def _without_indexes(self) -> Iterator[None]:
        """Sorted at the end, an index is built in a fraction of the time that it takes row by row."""
        named = {"named": list(ANOTHER)}
        held = self._connection.execute(CONSTRAINTS, named).fetchall()
        for table, name, _ in reversed(held):
            self._connection.execute(f'ALTER TABLE {table} DROP CONSTRAINT "{name}"')
        indexes = self._connection.execute(INDEXES, named).fetchall()
        for name, _ in indexes:
            self._connection.execute(f'DROP INDEX "{name}"')
        yield
        for _, made in indexes:
            self._connection.execute(made)
        for table, name, made in held:
            self._connection.execute(f'ALTER TABLE {table} ADD CONSTRAINT "{name}" {made}')

    def size(self) -> int:
        """Bytes that it takes."""
        return self._count("SELECT pg_database_size(current_database())")

    def close(self) -> None:
        """Let go of the database."""
        self._connection.close()

    def _count(self, query: str) -> int:
        (found,) = self._connection.execute(query).fetchone() or (0,)
        return int(found)

    def _copied_out(self, table: str) -> tuple[str, bytes]:
        """The command that copies a table's lived rows in again, and these rows as text."""
        described = self._connection.execute(
            "SELECT column_name FROM information_schema.columns"
            " WHERE table_schema = current_schema() AND table_name = %s ORDER BY ordinal_position",
            [table],
        )
        own = ANOTHER[table]
        columns = [name for (name,) in described if own.get(name) != "NULL" or name != "id"]
        values = [ON_SERVER.get(f"{table}.{name}") or _on(own.get(name) or f'"{name}"') for name in columns]
        which = _on(OF_TODAY.get(table, "true"))
        with self._connection.cursor().copy(
            f"COPY (SELECT {', '.join(values)} FROM {table} WHERE {which}) TO STDOUT"
        ) as copy:
            text = b"".join(bytes(part) for part in copy)
        named = ", ".join(f'"{name}"' for name in columns)
        return f"COPY {table} ({named}) FROM STDIN", text


def _on(part: str) -> str:
    """A part of a statement with the lived day in place of what is to be replaced."""
    return part.replace(":today", f"'{DAY}'").replace(":day", f"'{DAY}'")
