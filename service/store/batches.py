"""Rows written many at a time: what a transaction inserts and changes is held back and goes in few statements.

Held back until the session next reads or flushes, which a `Transaction` does by itself before every query; so
whoever reads sees what was written, and who reads everything beforehand writes everything at once.
"""

from collections.abc import Iterable, Mapping, Sequence
from functools import cache, partial
from typing import Any

from sqlalchemy import Connection, Insert, Table, Update, bindparam, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm.attributes import set_committed_value
from sqlmodel import Session

from service.store.prepared import prepared
from service.store.tables import Row, table_of

Key = tuple[Any, ...]
Values = Mapping[str, Any]

NAMED = "row_"
"""Before a key column's name where a statement names the row that it changes."""


class Batch:
    """What is held back: new rows by table and columns, changes by table and key."""

    def __init__(self) -> None:
        self._new: dict[Table, dict[tuple[str, ...], dict[Key, Values]]] = {}
        self._changed: dict[Table, dict[Key, dict[str, Any]]] = {}

    def add(self, table: Table, rows: Iterable[Values]) -> None:
        """Hold back new rows; of two with the same key the first stays."""
        names = key_of(table)
        kinds = self._new.setdefault(table, {})
        for row in rows:
            alike = kinds.setdefault(tuple(row), {})
            # Where the database gives the number, every row is another.
            alike.setdefault(tuple([row.get(name, len(alike)) for name in names]), row)

    def alter(self, table: Table, key: Key, values: Values) -> None:
        """Hold back a change; one of a row that is itself held back, or was changed before, goes with it."""
        for alike in self._new.get(table, {}).values():
            if key in alike:
                alike[key] = {**alike[key], **values}
                return
        self._changed.setdefault(table, {}).setdefault(key, {}).update(values)

    def write(self, connection: Connection) -> None:
        """Write all of it, new rows first, by table in the order of their definition and in the order of keys."""
        new, changed = self._new, self._changed
        self._new, self._changed = {}, {}
        for table, kinds in new.items():
            for alike in kinds.values():
                put_rows(connection, table, alike.values())
        for table, by_key in changed.items():
            _change_rows(connection, table, by_key)


class Transaction(Session):
    """A session that writes what was held back before it reads or flushes."""

    def __init__(self, connection: Connection) -> None:
        super().__init__(connection, expire_on_commit=False)
        self.batch = Batch()

    def flush(self, objects: Sequence[Any] | None = None) -> None:
        """Write what was held back, then what objects of the session say."""
        self.batch.write(self.connection())
        super().flush(objects)


def put_later(tx: Session, table: Table, rows: Iterable[Values]) -> None:
    """Write these rows, those whose keys are taken apart, with others of their kind."""
    batch_of(tx).add(table, rows)


def change(tx: Session, row: Row, **values: Any) -> None:
    """Change a row: the object now, the database together with other changes."""
    for name, value in values.items():
        set_committed_value(row, name, value)
    table = table_of(type(row))
    batch_of(tx).alter(table, tuple(getattr(row, name) for name in key_of(table)), values)


def change_later(tx: Session, table: Table, key: Key, **values: Any) -> None:
    """Change the row with this primary key together with other changes; no object of it is looked at."""
    batch_of(tx).alter(table, key, values)


def batch_of(tx: Session) -> Batch:
    """What a session holds back."""
    if not isinstance(tx, Transaction):
        raise TypeError("only a transaction of the store can write later")
    return tx.batch


@cache
def key_of(table: Table) -> tuple[str, ...]:
    """The columns of a table's primary key."""
    return tuple(column.name for column in table.primary_key)


def put_rows(connection: Connection, table: Table, rows: Iterable[Values]) -> int:
    """Write those rows whose keys are free, in the order of their primary keys; says how many were.

    The order is what keeps two instances that write the same rows from waiting for each other in a circle. Rows
    that the database numbers itself keep theirs.
    """
    key = key_of(table)
    ordered = sorted(rows, key=lambda row: tuple([row.get(name, 0) for name in key]))
    if not ordered:
        return 0
    dialect = connection.dialect.name
    writing = prepared(connection, "put", table, tuple(ordered[0]), lambda: insert_free(dialect, table))
    return writing.execute(connection, ordered)


@cache
def insert_free(dialect: str, table: Table) -> Insert:
    """INSERT … ON CONFLICT DO NOTHING in the words of the database at hand."""
    if dialect == "postgresql":
        return postgresql.insert(table).on_conflict_do_nothing()
    return sqlite.insert(table).on_conflict_do_nothing()


def _change_rows(connection: Connection, table: Table, by_key: Mapping[Key, Values]) -> None:
    alike: dict[tuple[str, ...], list[dict[str, Any]]] = {}
    names = [NAMED + name for name in key_of(table)]
    for key in sorted(by_key):
        values = by_key[key]
        alike.setdefault(tuple(values), []).append({**values, **dict(zip(names, key, strict=True))})
    for columns, rows in alike.items():
        named = (*columns, *names)
        make = partial(_update, table, columns)
        prepared(connection, "change", table, named, make).execute(connection, rows)


def _update(table: Table, columns: tuple[str, ...]) -> Update:
    named = [table.c[name] == bindparam(NAMED + name) for name in key_of(table)]
    return update(table).where(*named).values({name: bindparam(name) for name in columns})
