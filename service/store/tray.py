"""Trays: what waits to be told to each person, and the lock under which a tray is emptied."""

from datetime import datetime

from sqlalchemy import ColumnElement, and_
from sqlmodel import Session, col, select

from service.store.tables import AddresseeRow, TrayRow
from service.store.writing import put_new


def put(tx: Session, row: TrayRow) -> bool:
    """Lay something in a tray; False, and nothing done, where the same thing was laid there before."""
    return put_new(tx, row)


def waiting(tx: Session, person: str) -> list[TrayRow]:
    """What lies in a person's tray, by the instant it was due."""
    chosen = select(TrayRow).where(TrayRow.person == person, still_waiting())
    fresh = chosen.order_by(col(TrayRow.due_at), col(TrayRow.key)).execution_options(populate_existing=True)
    return list(tx.exec(fresh))


def people_due(tx: Session, now: datetime) -> list[str]:
    """People whose tray holds something that need wait no longer, in order of their ids."""
    ready = select(TrayRow.person).where(still_waiting(), TrayRow.not_before <= now)
    return list(tx.exec(ready.distinct().order_by(col(TrayRow.person))))


def next_release(tx: Session) -> datetime | None:
    """When the next waiting thing need wait no longer."""
    chosen = select(TrayRow.not_before).where(still_waiting())
    return tx.exec(chosen.order_by(col(TrayRow.not_before)).limit(1)).first()


def lock_person(tx: Session, person: str) -> AddresseeRow:
    """The person's row as it stands now, ours until the transaction ends; made where there is none."""
    chosen = select(AddresseeRow).where(AddresseeRow.person == person).with_for_update()
    fresh = chosen.execution_options(populate_existing=True)
    found = tx.exec(fresh).first()
    if found is None:
        put_new(tx, AddresseeRow(person=person))
        found = tx.exec(fresh).one()
    return found


def still_waiting() -> ColumnElement[bool]:
    """Neither sent nor dropped."""
    return and_(col(TrayRow.outbox_id).is_(None), col(TrayRow.dropped).is_(None))
