"""Trays: what waits to be told to each person, and the lock under which a tray is emptied."""

from collections.abc import Collection
from datetime import datetime

from sqlalchemy import ColumnElement, and_, func
from sqlmodel import Session, col, select

from service.store.tables import AddresseeRow, ChaseRow, ServiceMark, TrayRow
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
    chosen = select(AddresseeRow).where(AddresseeRow.person == person).with_for_update(key_share=True)
    fresh = chosen.execution_options(populate_existing=True)
    found = tx.exec(fresh).first()
    if found is None:
        put_new(tx, AddresseeRow(person=person))
        found = tx.exec(fresh).one()
    return found


def still_waiting() -> ColumnElement[bool]:
    """Neither sent nor dropped."""
    return and_(col(TrayRow.outbox_id).is_(None), col(TrayRow.dropped).is_(None))


def drop_of_school(tx: Session, school: str, reason: str) -> None:
    """Take out of every tray what waits there about a school's chases, ended ones too."""
    about = select(ChaseRow.id).where(ChaseRow.school == school)
    for row in tx.exec(select(TrayRow).where(col(TrayRow.chase_id).in_(about), still_waiting())):
        row.dropped = reason
        tx.add(row)


def drop_of_person(tx: Session, person: str, reason: str) -> None:
    """Empty the tray of somebody who is told nothing any more."""
    for row in waiting(tx, person):
        row.dropped = reason
        tx.add(row)


def count(tx: Session, chase_id: str, person: str, purpose: str) -> int:
    """How many things of one purpose a chase has laid for a person so far."""
    same = and_(
        col(TrayRow.chase_id) == chase_id, col(TrayRow.person) == person, col(TrayRow.purpose) == purpose
    )
    return tx.exec(select(func.count()).select_from(TrayRow).where(same)).one()


def last_at(tx: Session, person: str) -> datetime | None:
    """When the last message to the person was put on its way; no lock is taken."""
    known = tx.get(AddresseeRow, person)
    return known.last_at if known else None


def gone_ways(tx: Session, person: str) -> frozenset[str]:
    """The channels on which the person's address is known not to work any more."""
    # Compared as a range: LIKE takes capitals for small letters on one database and not on the other.
    from_here, to_here = col(ServiceMark.key) > f"gone/{person}/", col(ServiceMark.key) < f"gone/{person}0"
    found = tx.exec(select(ServiceMark.key).where(from_here, to_here))
    return frozenset(key.rsplit("/", 1)[1] for key in found)


def epoch(tx: Session, person: str) -> int:
    """Which generation of links still opens a door for the person; no lock is taken."""
    return epochs(tx, [person]).get(person, 0)


def epochs(tx: Session, people: Collection[str]) -> dict[str, int]:
    """The same for several people; none for those who were never written to, whose generation is 0."""
    found = select(AddresseeRow.person, AddresseeRow.epoch)
    return dict(tx.exec(found.where(col(AddresseeRow.person).in_(sorted(people)))).all())


def of_chase(tx: Session, chase_id: str) -> list[TrayRow]:
    """All that was ever laid in trays about a chase, by the instant it was due."""
    chosen = select(TrayRow).where(TrayRow.chase_id == chase_id)
    return list(tx.exec(chosen.order_by(col(TrayRow.due_at), col(TrayRow.key))))
