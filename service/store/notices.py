"""Notices: what changes on some days."""

from datetime import date, datetime

from sqlalchemy import update
from sqlmodel import Session, col, select

from service.store.tables import NoticeRow
from service.store.writing import put_new


def active(tx: Session, day_from: date, day_to: date) -> list[NoticeRow]:
    """The notices not withdrawn that touch the days from `day_from` to `day_to`, in the order given."""
    touching = select(NoticeRow).where(NoticeRow.first <= day_to, NoticeRow.last >= day_from)
    standing = touching.where(col(NoticeRow.withdrawn_at).is_(None))
    return list(tx.exec(standing.order_by(col(NoticeRow.given_at), col(NoticeRow.id))))


def add(tx: Session, row: NoticeRow) -> bool:
    """Store a notice; False, and nothing done, where its id is there already."""
    return put_new(tx, row)


def withdraw(tx: Session, id: str, at: datetime) -> bool:
    """Mark a notice withdrawn; False where there is none of that id or it was withdrawn before."""
    standing = update(NoticeRow).where(col(NoticeRow.id) == id, col(NoticeRow.withdrawn_at).is_(None))
    return bool(tx.exec(standing.values(withdrawn_at=at)).rowcount)


def get(tx: Session, id: str) -> NoticeRow | None:
    """One notice, withdrawn or not."""
    return tx.exec(
        select(NoticeRow).where(NoticeRow.id == id).execution_options(populate_existing=True)
    ).first()
