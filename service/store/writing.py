"""Writing that leaves existing rows alone, and words made fit to store."""

from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import Insert, Table
from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session

from service.store.batches import key_of, put_rows
from service.store.prepared import prepared
from service.store.tables import Row, table_of

PLAIN = frozenset({int, float, bool, type(None)})
UNSTORABLE = {0: "\ufffd"} | dict.fromkeys(range(0xD800, 0xE000), "\ufffd")


def put_new(tx: Session, row: Row) -> bool:
    """Write the row unless one of its unique keys is taken; says whether it was written.

    The object itself does not join the session; read it back to change it.
    """
    table = table_of(type(row))
    return put_new_values(tx, table, [row.model_dump()]) == 1


def put_new_values(tx: Session, table: Table, rows: Iterable[Mapping[str, Any]]) -> int:
    """Write those rows whose keys are free; says how many were."""
    tx.flush()
    return put_rows(tx.connection(), table, rows)


def put_or_replace(tx: Session, row: Row) -> None:
    """Write the row in place of the one with its primary key, if there is one.

    Objects of that row already loaded keep their old values.
    """
    table = table_of(type(row))
    key = key_of(table)
    values = row.model_dump()
    tx.flush()
    dialect = postgresql if tx.connection().dialect.name == "postgresql" else sqlite

    def make() -> Insert:
        put = dialect.insert(table)
        changes = {name: put.excluded[name] for name in values if name not in key}
        made: Insert = put.on_conflict_do_update(index_elements=key, set_=changes)
        return made

    prepared(tx.connection(), "replace", table, tuple(values), make).execute(tx.connection(), [values])


def storable(words: str) -> str:
    """The words with what no database takes (NUL, half a surrogate pair) shown as U+FFFD."""
    return words if words.isascii() and "\0" not in words else words.translate(UNSTORABLE)


def storable_body(value: Any) -> Any:
    """A JSON value with every string in it made storable."""
    kind = type(value)
    if kind is str:
        return storable(value)
    if kind in PLAIN:
        return value
    if isinstance(value, Mapping):
        return {storable(str(name)): storable_body(inner) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [storable_body(inner) for inner in value]
    return storable(value) if isinstance(value, str) else value
