"""Writing that leaves existing rows alone, and words made fit to store."""

from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

from sqlalchemy import Insert, Table
from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session

from service.store.tables import Row, table_of

UNSTORABLE = {0: "\ufffd"} | dict.fromkeys(range(0xD800, 0xE000), "\ufffd")


def put_new(tx: Session, row: Row) -> bool:
    """Write the row unless one of its unique keys is taken; says whether it was written.

    The object itself does not join the session; read it back to change it.
    """
    table = table_of(type(row))
    return put_new_values(tx, table, [row.model_dump()]) == 1


def put_new_values(tx: Session, table: Table, rows: Iterable[Mapping[str, Any]]) -> int:
    """Write those rows whose keys are free, in the order of their primary keys; says how many were.

    The order is what keeps two instances that write the same rows from waiting for each other in a circle.
    """
    key = [column.name for column in table.primary_key]
    ordered = sorted((dict(row) for row in rows), key=lambda row: tuple(row[name] for name in key))
    if not ordered:
        return 0
    tx.flush()
    statement = insert_free(tx.connection().dialect.name, table).execution_options(preserve_rowcount=True)
    result = tx.connection().execute(statement, ordered)
    return int(result.rowcount)


@cache
def insert_free(dialect: str, table: Table) -> Insert:
    """INSERT … ON CONFLICT DO NOTHING in the words of the database at hand."""
    if dialect == "postgresql":
        return postgresql.insert(table).on_conflict_do_nothing()
    return sqlite.insert(table).on_conflict_do_nothing()


def put_or_replace(tx: Session, row: Row) -> None:
    """Write the row in place of the one with its primary key, if there is one.

    Objects of that row already loaded keep their old values.
    """
    table = table_of(type(row))
    key = [column.name for column in table.primary_key]
    values = row.model_dump()
    tx.flush()
    dialect = postgresql if tx.connection().dialect.name == "postgresql" else sqlite
    changes = {name: value for name, value in values.items() if name not in key}
    statement = dialect.insert(table).values(values)
    tx.connection().execute(statement.on_conflict_do_update(index_elements=key, set_=changes))


def storable(words: str) -> str:
    """The words with what no database takes (NUL, half a surrogate pair) shown as U+FFFD."""
    return words.translate(UNSTORABLE)


def storable_body(value: Any) -> Any:
    """A JSON value with every string in it made storable."""
    if isinstance(value, str):
        return storable(value)
    if isinstance(value, Mapping):
        return {storable(str(name)): storable_body(inner) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [storable_body(inner) for inner in value]
    return value
