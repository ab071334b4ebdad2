"""Statements for many rows, compiled once, with their values made ready for the driver a column at a time.

A statement that SQLAlchemy executes is made ready row by row and value by value, which at a bell costs more than the
database's own work. What each column's type does to a value is done here as well, by the type itself.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, date, datetime
from operator import itemgetter
from typing import Any

from sqlalchemy import Connection, Date, Dialect, Insert, Table, Update
from sqlalchemy.types import TypeEngine
from sqlmodel.sql.sqltypes import UTCDateTime

Values = Mapping[str, Any]
Make = Callable[[], Insert | Update]
Ready = Callable[[Any], Any]

_known: dict[tuple[object, ...], "Prepared"] = {}


class Prepared:
    """An INSERT or UPDATE whose every parameter is given by name for each row; what a column holds unless it is
    given, it holds here too.
    """

    def __init__(self, statement: Insert | Update, columns: Sequence[str], dialect: Dialect) -> None:
        compiled: Any = statement.compile(dialect=dialect, column_keys=list(columns))
        binds: Mapping[str, Any] = compiled.binds
        self._text = str(compiled)
        self._positional = compiled.positiontup is not None
        self._names: tuple[str, ...] = tuple(compiled.positiontup or binds)
        table: Any = statement.table
        rest = {name: table.c[name].default.arg for name in binds if name not in columns}
        self._rest = rest
        self._take = _taking(self._names)
        made = [(n, ready(binds[name].type, dialect)) for n, name in enumerate(self._names)]
        self._ready = [(n, process) for n, process in made if process is not None]

    def execute(self, connection: Connection, rows: Sequence[Values]) -> int:
        """Execute it for each of these rows, at least one; says how many were written."""
        whole = [{**self._rest, **row} for row in rows] if self._rest else rows
        columns: list[Sequence[Any]] = list(zip(*map(self._take, whole), strict=True))
        for n, process in self._ready:
            columns[n] = list(map(process, columns[n]))
        values: list[Any] = list(zip(*columns, strict=True))
        if not self._positional:
            values = [dict(zip(self._names, row, strict=True)) for row in values]
        done = connection.exec_driver_sql(self._text, values, execution_options=KEEPING)
        return int(done.rowcount)


KEEPING: Mapping[str, Any] = {"preserve_rowcount": True}


def _taking(names: tuple[str, ...]) -> Callable[[Values], tuple[Any, ...]]:
    return itemgetter(*names) if len(names) > 1 else lambda row: (row[names[0]],)


def prepared(
    connection: Connection, what: str, table: Table, columns: tuple[str, ...], make: Make
) -> Prepared:
    """The statement `what` for these columns of a table, made when it is first asked for."""
    key = (connection.dialect.name, what, table, columns)
    found = _known.get(key)
    if found is None:
        found = _known[key] = Prepared(make(), columns, connection.dialect)
    return found


def ready(kind: TypeEngine[Any], dialect: Dialect) -> Ready | None:
    """What makes a value of this type ready for the driver; None where it takes them as they are."""
    if dialect.name == "sqlite" and isinstance(kind, UTCDateTime):
        return sqlite_instant
    if dialect.name == "sqlite" and isinstance(kind, Date):
        return sqlite_date
    return kind.dialect_impl(dialect).bind_processor(dialect)


def sqlite_date(value: date | None) -> str | None:
    """A date as SQLAlchemy spells it on SQLite; of an instant the date alone."""
    return None if value is None else date.isoformat(value)


def sqlite_instant(value: datetime | None) -> str | None:
    """An instant as SQLAlchemy spells it on SQLite. Raises ValueError for one that names no zone."""
    if value is None:
        return None
    if value.utcoffset() is None:
        raise ValueError("an instant must say its offset; use datetime.now(UTC) or the like")
    return value.astimezone(UTC).isoformat(" ", "microseconds")[:26]
