"""All rows of one database into another that is empty: in one transaction there, read back before it counts.

The other database bears a mark from before its first row to the commit of its last one, and nothing but a further
move takes a database that bears it. So a move that was broken off leaves nothing that could be taken for whole.
"""

from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from itertools import zip_longest
from typing import Any

from sqlalchemy import Connection, Table, func, inspect, select, text
from sqlmodel import Session

from service.store import marks
from service.store.base import Store
from service.store.errors import NotEmpty, StoreError
from service.store.tables import Row, ServiceMark
from service.store.versions import MOVING, VERSIONS

PART = 1000
"""Rows held in memory at a time."""

OTHERS = """
SELECT count(*) FROM pg_stat_activity
WHERE datname = current_database() AND application_name = 'bellcheck' AND pid <> pg_backend_pid()
"""

Tell = Callable[[str, int, int], None]
"""Is told of each part: the table, how many of its rows are there, and how many there are to be."""


def sessions_of_others(tx: Session) -> int:
    """How many connections other processes of ours hold to this PostgreSQL database; 0 on SQLite."""
    if tx.connection().dialect.name == "sqlite":
        return 0
    return int(tx.connection().execute(text(OTHERS)).scalar_one())


def prepare(to: Store, at: datetime) -> None:
    """Give an empty database its tables, and mark it as one that a move is filling.

    Raises `NotEmpty` where it holds anything but what a move that was broken off has left there.
    """
    with to.reading() as tx:
        full = _first_full(tx.connection())
    if full is not None:
        raise NotEmpty(
            f"The database {to.place} is not empty: there are rows in {full}. Name one that is: a file that is not "
            "there yet, or a database that was just created."
        )
    to.upgrade(taking_in=True)
    with to.transaction() as tx:
        marks.set(tx, MOVING, at, {})


def _first_full(connection: Connection) -> str | None:
    """A table that holds something."""
    there = set(inspect(connection).get_table_names()) - {VERSIONS}
    ours = {table.name: table for table in _tables()}
    for name in sorted(there):
        table = ours.get(name)
        if table is None:
            return name
        rows = select(*table.primary_key).limit(2)
        found = [tuple(row) for row in connection.execute(rows)]
        if found not in ([], [(MOVING,)]):
            return name
    return None


def stand_still(tx: Session) -> None:
    """Let nobody else write until this transaction ends, which may lie idle as long as it takes.

    Raises `DatabaseBusy` where others are in the middle of writing. On SQLite it is the one writer anyway.
    """
    be_patient(tx)
    if tx.connection().dialect.name == "postgresql":
        names = ", ".join(f'"{table.name}"' for table in _tables())
        tx.connection().execute(text(f"LOCK TABLE {names} IN SHARE ROW EXCLUSIVE MODE"))


def be_patient(tx: Session) -> None:
    """This transaction may lie idle while the other database works."""
    if tx.connection().dialect.name == "postgresql":
        tx.connection().execute(text("SET LOCAL idle_in_transaction_session_timeout = 0"))


def copy(here: Session, there: Session, tell: Tell) -> int:
    """Write every row of `here` into `there`, and read all of them back; says how many there are.

    Raises `StoreError` where what is read back is not what was written.
    """
    here.flush()
    moved = sum(_copy_table(table, here.connection(), there.connection(), tell) for table in _tables())
    _go_on_counting(there.connection())
    for table in _tables():
        _compare(table, here.connection(), there.connection())
    _prove_references(there)
    return moved


def finish(there: Session) -> None:
    """What was taken in is whole: it may be served from."""
    marks.drop(there, MOVING)


def _copy_table(table: Table, here: Connection, there: Connection, tell: Tell) -> int:
    total = here.execute(select(func.count()).select_from(table)).scalar_one()
    done = 0
    for rows in _parts(table, here):
        there.execute(table.insert(), rows)
        done += len(rows)
        tell(table.name, done, total)
    return done


def _parts(table: Table, connection: Connection) -> Iterator[list[Mapping[str, Any]]]:
    """A table's rows in the order of their keys, which is the same on both databases."""
    chosen = _to_take(table).execution_options(yield_per=PART)
    with connection.execute(chosen) as found:
        for part in found.partitions():
            yield [dict(row._mapping) for row in part]


def _to_take(table: Table) -> Any:
    chosen = table.select().order_by(*table.primary_key)
    return chosen.where(table.c.key != MOVING) if table.name == ServiceMark.__tablename__ else chosen


def _compare(table: Table, here: Connection, there: Connection) -> None:
    for ours, theirs in zip_longest(_parts(table, here), _parts(table, there)):
        if ours != theirs:
            raise StoreError(f"The rows of {table.name} are not the same after they were written; nothing was moved.")


def _go_on_counting(connection: Connection) -> None:
    """Rows that PostgreSQL numbers itself go on after the highest number taken over, as they do on SQLite."""
    if connection.dialect.name == "sqlite":
        return
    for table in _tables():
        column = table.autoincrement_column
        highest = connection.execute(select(func.max(column))).scalar() if column is not None else None
        if column is not None and highest is not None:
            sequence = func.pg_get_serial_sequence(table.name, column.name)
            connection.execute(select(func.setval(sequence, highest)))


def _prove_references(there: Session) -> None:
    """Look now, not at the commit, whether every row that is referred to is there."""
    connection = there.connection()
    if connection.dialect.name == "postgresql":
        connection.execute(text("SET CONSTRAINTS ALL IMMEDIATE"))
    elif connection.execute(text("PRAGMA foreign_key_check")).first() is not None:
        raise StoreError("A row refers to one that is not there; nothing was moved.")


def _tables() -> list[Table]:
    return Row.metadata.sorted_tables
