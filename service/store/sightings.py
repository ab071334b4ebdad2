"""What patterns are looked for in: a year of checks, of silences that went on to others, and of what was said, as few
columns as do.
"""

from collections.abc import Iterator
from datetime import date, datetime
from typing import Any, NamedTuple

from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from service.core.chains import Why
from service.store.tables import ChaseRow, CheckRow, StatementRow, table_of


class Sighting(NamedTuple):
    """One check as it ended."""

    id: str
    round: str
    school: str
    date: date
    student: str
    result: str | None
    faults: list[dict[str, Any]]


class Said(NamedTuple):
    """One thing said of one child and not taken back."""

    at: datetime
    person: str
    student: str
    school: str
    date: date
    body: dict[str, Any]


def checks(tx: Session, first: date, last: date) -> list[Sighting]:
    """The checks from `first` to `last`, both included, by date, school and id."""
    row = table_of(CheckRow).c
    chosen = sql_select(row.id, row.round_id, row.school, row.date, row.student, row.result, row.faults)
    found = chosen.where(row.date >= first, row.date <= last).order_by(row.date, row.school, row.id)
    return [Sighting(*values) for values in tx.connection().execute(found)]


def silences_passed_on(tx: Session, first: date, last: date) -> Iterator[ChaseRow]:
    """The silences of these dates in which somebody other than who was asked had a turn, by id."""
    chosen = select(ChaseRow).where(
        ChaseRow.date >= first, ChaseRow.date <= last, ChaseRow.why == Why.SILENCE.value, col(ChaseRow.step) >= 1
    )
    yield from tx.exec(chosen.order_by(col(ChaseRow.id)))


def said(tx: Session, first: date, last: date) -> list[Said]:
    """All that was said of these dates' checks and not taken back, in the order said."""
    one, check = table_of(StatementRow).c, table_of(CheckRow).c
    chosen = sql_select(one.at, one.person, check.student, check.school, check.date, one.body)
    joined = chosen.where(one.check_id == check.id, check.date >= first, check.date <= last)
    found = joined.where(one.retracted_at.is_(None)).order_by(one.id)
    return [Said(*values) for values in tx.connection().execute(found)]
