"""Shelves of supplies: what was counted on them, and what the record says of who uses them."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import func
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from service.store.history import parts
from service.store.tables import CheckRow, StatementRow, SupplyCount, table_of
from service.store.writing import put_new


@dataclass(frozen=True)
class Words:
    """One statement about one check, not taken back."""

    check: str
    student: str
    date: date
    at: datetime
    message: str | None
    body: dict[str, Any]


def add(tx: Session, row: SupplyCount) -> bool:
    """Store a count; False, and nothing done, where it is there already."""
    return put_new(tx, row)


def latest(tx: Session, shelves: Collection[str]) -> dict[str, SupplyCount]:
    """The last count of each of these shelves that was ever counted here."""
    found: dict[str, SupplyCount] = {}
    for some in parts(sorted(shelves)):
        last = (
            select(SupplyCount.shelf, func.max(SupplyCount.at).label("at"))
            .where(col(SupplyCount.shelf).in_(some))
            .group_by(col(SupplyCount.shelf))
            .subquery()
        )
        same = (col(SupplyCount.shelf) == last.c.shelf) & (col(SupplyCount.at) == last.c.at)
        chosen = select(SupplyCount).join(last, same).order_by(col(SupplyCount.id))
        found |= {row.shelf: row for row in tx.exec(chosen)}
    return found


def said(tx: Session, students: Collection[str], since: date) -> list[Words]:
    """What was said about the checks of these students since a date, in the order said."""
    about, check = table_of(StatementRow).c, table_of(CheckRow).c
    columns = (about.id, about.check_id, check.student, check.date, about.at, about.inbox_id, about.body)
    found: list[tuple[int, Words]] = []
    tx.flush()
    for some in parts(sorted(students)):
        chosen = (
            sql_select(*columns)
            .where(about.check_id == check.id, about.retracted_at.is_(None))
            .where(check.student.in_(some), check.date >= since)
        )
        found += [(row[0], Words(*row[1:])) for row in tx.connection().execute(chosen)]
    return [words for _, words in sorted(found, key=lambda one: one[0])]


def results(tx: Session, students: Collection[str], first: date, last: date) -> list[tuple[str, date, str]]:
    """Student, date and result of each check of these students that has one."""
    check = table_of(CheckRow).c
    found: list[tuple[str, date, str]] = []
    tx.flush()
    for some in parts(sorted(students)):
        chosen = sql_select(check.student, check.date, check.result).where(
            check.student.in_(some), check.date >= first, check.date <= last, check.result.is_not(None)
        )
        found += [(row[0], row[1], row[2]) for row in tx.connection().execute(chosen)]
    return found
