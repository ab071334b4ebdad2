"""Trays: what waits to be told to each person, and the lock under which a tray is emptied."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, and_, func
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from service.store.ahead import Question
from service.store.batches import change_later, put_later, put_rows
from service.store.tables import AddresseeRow, ChaseRow, TrayRow, table_of

WAITING_ABOUT: Question[list[TrayRow]] = Question()

Thing = tuple[int, str, str, int]
"""What makes a thing about one chase the same: step, person, purpose, generation."""


@dataclass(slots=True)
class Lying:
    """What lies in a tray, by the names of its columns."""

    key: str
    person: str
    chase_id: str
    check_id: str | None
    step: int
    purpose: str
    generation: int
    role: str
    urgency: int
    due_at: datetime
    not_before: datetime
    body: Mapping[str, Any]
    outbox_id: str | None = None


LYING = tuple(name for name in Lying.__slots__ if name != "outbox_id")


def put(tx: Session, values: Mapping[str, Any]) -> None:
    """Lay something, given as column values, in a tray with the next flush; what was laid before is not laid
    again.
    """
    WAITING_ABOUT.forget(tx, values["chase_id"])
    put_later(tx, table_of(TrayRow), [values])


def laid_about(tx: Session, chases: Collection[str]) -> dict[str, set[Thing]]:
    """What was ever laid in trays about each of these chases; no key for those without anything."""
    named = select(TrayRow.chase_id, TrayRow.step, TrayRow.person, TrayRow.purpose)
    chosen = named.add_columns(col(TrayRow.generation)).where(col(TrayRow.chase_id).in_(sorted(chases)))
    found: defaultdict[str, set[Thing]] = defaultdict(set)
    for chase, *thing in tx.connection().execute(chosen):
        found[chase].add(tuple(thing))
    return found


def waiting(tx: Session, person: str) -> list[TrayRow]:
    """What lies in a person's tray, by the instant it was due."""
    return waiting_for(tx, [person]).get(person, [])


def waiting_for(tx: Session, people: Collection[str]) -> dict[str, list[TrayRow]]:
    """What lies in these people's trays, by the instant it was due; no key for an empty one."""
    chosen = select(TrayRow).where(col(TrayRow.person).in_(sorted(people)), still_waiting())
    fresh = chosen.order_by(col(TrayRow.due_at), col(TrayRow.key)).execution_options(populate_existing=True)
    held: defaultdict[str, list[TrayRow]] = defaultdict(list)
    for row in tx.exec(fresh):
        held[row.person].append(row)
    return held


def lying(tx: Session, people: Collection[str]) -> dict[str, list[Lying]]:
    """The same as plain values, for whoever empties the trays."""
    table = table_of(TrayRow)
    chosen = sql_select(*(table.c[name] for name in LYING))
    mine = chosen.where(table.c.person.in_(sorted(people)), still_waiting())
    held: defaultdict[str, list[Lying]] = defaultdict(list)
    tx.flush()
    for row in tx.connection().execute(mine.order_by(table.c.due_at, table.c.key)):
        held[row.person].append(Lying(*row))
    return held


def sent(tx: Session, thing: Lying, message: str) -> None:
    """It is in a message now."""
    thing.outbox_id = message
    _alter(tx, thing, outbox_id=message)


def wait(tx: Session, thing: Lying, until: datetime) -> None:
    """It need not go before this instant."""
    thing.not_before = until
    _alter(tx, thing, not_before=until)


def _alter(tx: Session, thing: Lying, **values: Any) -> None:
    WAITING_ABOUT.forget(tx, thing.chase_id)
    change_later(tx, table_of(TrayRow), (thing.key,), **values)


def waiting_about(tx: Session, person: str, chase: str) -> list[TrayRow]:
    """What lies in a person's tray about one chase, by the instant it was due."""
    known = WAITING_ABOUT.known(tx, chase)
    rows = waiting_about_all(tx, [chase])[chase] if known is None else known
    return [row for row in rows if row.person == person and row.dropped is None and row.outbox_id is None]


def waiting_about_all(tx: Session, chases: Collection[str]) -> dict[str, list[TrayRow]]:
    """What lies in anybody's tray about each of these chases, by the instant it was due."""
    chosen = select(TrayRow).where(col(TrayRow.chase_id).in_(sorted(chases)), still_waiting())
    fresh = chosen.order_by(col(TrayRow.due_at), col(TrayRow.key)).execution_options(populate_existing=True)
    found: dict[str, list[TrayRow]] = {chase: [] for chase in chases}
    for row in tx.exec(fresh):
        found[row.chase_id].append(row)
    return found


def read_ahead(tx: Session, chases: Collection[str]) -> None:
    """Read what lies in trays about these chases."""
    WAITING_ABOUT.tell(tx, waiting_about_all(tx, chases))


def people_due(tx: Session, now: datetime) -> dict[str, int]:
    """People whose tray holds something that need wait no longer, and how much, in order of their ids."""
    ready = select(TrayRow.person, func.count()).where(still_waiting(), TrayRow.not_before <= now)
    return dict(tx.exec(ready.group_by(col(TrayRow.person)).order_by(col(TrayRow.person))).all())


def chases_for(tx: Session, people: Collection[str]) -> dict[str, frozenset[str]]:
    """The chases of which something waits for these people, by person; no key for one for whom nothing waits."""
    waiting = select(TrayRow.person, TrayRow.chase_id).where(col(TrayRow.person).in_(sorted(people)))
    found: defaultdict[str, set[str]] = defaultdict(set)
    for person, chase in tx.exec(waiting.where(still_waiting()).order_by(col(TrayRow.person))):
        found[person].add(chase)
    return {person: frozenset(ids) for person, ids in found.items()}


def next_release(tx: Session) -> datetime | None:
    """When the next waiting thing need wait no longer."""
    chosen = select(TrayRow.not_before).where(still_waiting())
    return tx.exec(chosen.order_by(col(TrayRow.not_before)).limit(1)).first()


def lock_person(tx: Session, person: str) -> AddresseeRow:
    """The person's row as it stands now, ours until the transaction ends; made where there is none."""
    return lock_people(tx, [person])[person]


def lock_people(tx: Session, people: Collection[str]) -> dict[str, AddresseeRow]:
    """These people's rows as they stand now, locked in the order of their ids; made where there are none."""
    found = _locked(tx, people)
    if missing := [person for person in people if person not in found]:
        fresh = [{"person": person, "last_at": None, "epoch": 0} for person in missing]
        put_rows(tx.connection(), table_of(AddresseeRow), fresh)
        found = _locked(tx, people)
    return found


def _locked(tx: Session, people: Collection[str]) -> dict[str, AddresseeRow]:
    chosen = select(AddresseeRow).where(col(AddresseeRow.person).in_(sorted(people)))
    locked = chosen.order_by(col(AddresseeRow.person)).with_for_update(key_share=True)
    return {row.person: row for row in tx.exec(locked.execution_options(populate_existing=True))}


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


def drop_due_until(tx: Session, until: datetime, reason: str) -> None:
    """Take out of every tray what was due to be told by then and was not."""
    for row in tx.exec(select(TrayRow).where(still_waiting(), TrayRow.due_at <= until)):
        row.dropped = reason
        tx.add(row)


def last_sent(tx: Session, people: Collection[str]) -> dict[str, datetime | None]:
    """When the last message to each of these people was put on its way; no lock is taken."""
    chosen = select(AddresseeRow.person, AddresseeRow.last_at)
    found = dict(tx.exec(chosen.where(col(AddresseeRow.person).in_(sorted(people)))).all())
    return {person: found.get(person) for person in people}


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


def reminders_of(tx: Session, chases: Collection[str]) -> dict[str, list[datetime]]:
    """When reminders that went out were due, of each of these chases; no key for one without."""
    table = table_of(TrayRow)
    sent = and_(table.c.purpose == "reminder", table.c.outbox_id.is_not(None))
    chosen = sql_select(table.c.chase_id, table.c.due_at).where(table.c.chase_id.in_(sorted(chases)), sent)
    found: defaultdict[str, list[datetime]] = defaultdict(list)
    tx.flush()
    for chase, due in tx.connection().execute(chosen.order_by(table.c.due_at, table.c.key)):
        found[chase].append(due)
    return found
