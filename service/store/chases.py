"""Chases: read, stepped and kept under their row's lock."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from datetime import date, datetime
from typing import Any

from sqlalchemy import false, func, or_
from sqlmodel import Session, col, select

from service.store.batches import change, put_later
from service.store.tables import ChaseRow, table_of


def lock(tx: Session, id: str) -> ChaseRow | None:
    """The chase as it stands now, ours until the transaction ends; waits for whoever holds it.

    On SQLite the write transaction is the lock.
    """
    chosen = select(ChaseRow).where(ChaseRow.id == id).with_for_update(key_share=True)
    return tx.exec(chosen.execution_options(populate_existing=True)).first()


def locked(tx: Session, ids: Iterable[str]) -> dict[str, ChaseRow]:
    """Several chases as they stand now, by id, ours until the transaction ends."""
    chosen = select(ChaseRow).where(col(ChaseRow.id).in_(sorted(ids))).order_by(col(ChaseRow.id))
    fresh = chosen.with_for_update(key_share=True).execution_options(populate_existing=True)
    return {row.id: row for row in tx.exec(fresh)}


def lock_all(tx: Session, ids: Iterable[str]) -> None:
    """Lock several chases in the order of their ids, so that two who want the same ones wait in one order."""
    wanted = select(ChaseRow.id).where(col(ChaseRow.id).in_(sorted(ids))).order_by(col(ChaseRow.id))
    tx.exec(wanted.with_for_update(key_share=True)).all()


def checks_of(tx: Session, ids: Iterable[str]) -> set[str]:
    """The checks that these chases are about."""
    found = select(ChaseRow.check_id).where(col(ChaseRow.id).in_(sorted(ids)))
    return {check for check in tx.exec(found) if check is not None}


def with_checks(tx: Session, ids: Iterable[str], checks: Iterable[str]) -> set[str]:
    """Those of these chases that are about one of these checks, or about none."""
    mine = or_(col(ChaseRow.check_id).is_(None), col(ChaseRow.check_id).in_(sorted(checks)))
    return set(tx.exec(select(ChaseRow.id).where(col(ChaseRow.id).in_(sorted(ids)), mine)))


def open_ids_of(
    tx: Session, schools: Iterable[str] = (), checks: Iterable[str] = (), students: Iterable[str] = ()
) -> list[str]:
    """Ids of the chases of these schools, checks or students that have not ended, by id."""
    named = {ChaseRow.school: schools, ChaseRow.check_id: checks, ChaseRow.student: students}
    about = [col(column).in_(sorted(values)) for column, values in named.items() if values]
    found = select(ChaseRow.id).where(or_(false(), *about), col(ChaseRow.ended_at).is_(None))
    return list(tx.exec(found.order_by(col(ChaseRow.id))))


def due(tx: Session, now: datetime, limit: int, without_silence: bool = False) -> list[str]:
    """Ids of chases whose instant has come, earliest first; not locked.

    `without_silence` leaves those about silence for later.
    """
    ready = select(ChaseRow.wake_at, ChaseRow.id).where(
        col(ChaseRow.ended_at).is_(None), col(ChaseRow.wake_at) <= now
    )
    if without_silence:
        ready = ready.where(ChaseRow.why != "silence")
    first = ready.order_by(col(ChaseRow.wake_at), col(ChaseRow.id)).limit(limit)
    return [id for _, id in tx.exec(first)]


def next_wake(tx: Session, without_silence: bool = False) -> datetime | None:
    """When the next chase has something to do of its own; `without_silence` passes over those about silence."""
    waiting = select(ChaseRow.wake_at).where(
        col(ChaseRow.ended_at).is_(None), col(ChaseRow.wake_at).is_not(None)
    )
    if without_silence:
        waiting = waiting.where(ChaseRow.why != "silence")
    return tx.exec(waiting.order_by(col(ChaseRow.wake_at)).limit(1)).first()


def of_check(tx: Session, check_id: str) -> list[ChaseRow]:
    """All chases of a check, ended ones too, by id."""
    return list(tx.exec(select(ChaseRow).where(ChaseRow.check_id == check_id).order_by(col(ChaseRow.id))))


def open_of_school(tx: Session, school: str) -> list[ChaseRow]:
    """A school's chases that have not ended, of whatever date, by date and id."""
    chosen = select(ChaseRow).where(ChaseRow.school == school, col(ChaseRow.ended_at).is_(None))
    return list(tx.exec(chosen.order_by(col(ChaseRow.date), col(ChaseRow.id))))


def insert(tx: Session, values: Mapping[str, Any]) -> None:
    """Begin a chase given as column values, with the next flush; one of that id that is there already stays."""
    put_later(tx, table_of(ChaseRow), [values])


def save(tx: Session, row: ChaseRow, **values: Any) -> None:
    """Change a chase, with the next flush; its body too where that was changed in place."""
    change(tx, row, **{"body": row.body, **values})


def open_faults_of(tx: Session, student: str) -> list[str]:
    """Ids of the fault chases about a student that have not ended, by id."""
    found = select(ChaseRow.id).where(
        ChaseRow.student == student, ChaseRow.why == "fault", col(ChaseRow.ended_at).is_(None)
    )
    return list(tx.exec(found.order_by(col(ChaseRow.id))))


def open_faults(tx: Session, students: Collection[str]) -> dict[str, list[ChaseRow]]:
    """The fault chases that have not ended, by student and id."""
    chosen = select(ChaseRow).where(
        col(ChaseRow.student).in_(sorted(students)), ChaseRow.why == "fault", col(ChaseRow.ended_at).is_(None)
    )
    found: defaultdict[str, list[ChaseRow]] = defaultdict(list)
    fresh = chosen.order_by(col(ChaseRow.id)).execution_options(populate_existing=True)
    for row in tx.exec(fresh):
        found[row.student or ""].append(row)
    return found


def open_alarms(tx: Session, school: str | None = None) -> list[str]:
    """Ids of the emergencies that have not ended, of one school or all, by id."""
    found = select(ChaseRow.id).where(ChaseRow.severity == "emergency", col(ChaseRow.ended_at).is_(None))
    if school is not None:
        found = found.where(ChaseRow.school == school)
    return list(tx.exec(found.order_by(col(ChaseRow.id))))


def counts_of(tx: Session, checks: Collection[str], why: str) -> dict[str, int]:
    """How many chases of one cause each of these checks has had so far; those without any are left out."""
    same = select(ChaseRow.check_id, func.count()).where(col(ChaseRow.check_id).in_(sorted(checks)))
    counted = same.where(ChaseRow.why == why).group_by(col(ChaseRow.check_id))
    return {check: n for check, n in tx.exec(counted) if check is not None}


def get(tx: Session, id: str) -> ChaseRow | None:
    """The chase as it stands now, without its lock."""
    return tx.exec(
        select(ChaseRow).where(ChaseRow.id == id).execution_options(populate_existing=True)
    ).first()


def open_ids(tx: Session) -> list[str]:
    """Ids of all chases that have not ended, by id."""
    return list(
        tx.exec(select(ChaseRow.id).where(col(ChaseRow.ended_at).is_(None)).order_by(col(ChaseRow.id)))
    )


def ended_of(tx: Session, ids: Collection[str]) -> dict[str, bool]:
    """Whether each of these chases has ended; no key for one that is not there."""
    found = select(ChaseRow.id, ChaseRow.ended_at).where(col(ChaseRow.id).in_(sorted(ids)))
    return {id: ended_at is not None for id, ended_at in tx.exec(found)}


def places(tx: Session, ids: Collection[str]) -> dict[str, tuple[str, date]]:
    """School and date of each of these chases."""
    found = select(ChaseRow.id, ChaseRow.school, col(ChaseRow.date)).where(col(ChaseRow.id).in_(sorted(ids)))
    return {id: (school, on) for id, school, on in tx.exec(found)}
