"""Faults on their road: open ones by student, those whose date has passed, and all that were."""

from collections import defaultdict
from collections.abc import Collection
from datetime import date, datetime

from sqlalchemy import or_
from sqlmodel import Session, col, select

from service.store.ahead import Question
from service.store.batches import change, put_later
from service.store.history import parts
from service.store.tables import CheckRow, FaultRow, table_of

OPEN_OF: Question[list[FaultRow]] = Question()


def locked_of(tx: Session, student: str) -> list[FaultRow]:
    """A student's open faults as they stand now, by id, ours until the transaction ends."""
    known = OPEN_OF.known(tx, student)
    rows = _locked(tx, [student]).get(student, []) if known is None else known
    return [row for row in rows if row.closed_at is None]


def read_ahead(tx: Session, students: Collection[str]) -> None:
    """Read the open faults of these students under their locks, which come after those of chases."""
    found = _locked(tx, students)
    OPEN_OF.tell(tx, {student: found.get(student, []) for student in students})


def _locked(tx: Session, students: Collection[str]) -> dict[str, list[FaultRow]]:
    mine = select(FaultRow).where(
        col(FaultRow.student).in_(sorted(students)), col(FaultRow.closed_at).is_(None)
    )
    fresh = mine.order_by(col(FaultRow.id)).execution_options(populate_existing=True)
    found: defaultdict[str, list[FaultRow]] = defaultdict(list)
    for row in tx.exec(fresh.with_for_update(key_share=True)):
        found[row.student].append(row)
    return found


def lock(tx: Session, id: str) -> FaultRow | None:
    """The fault as it stands now, ours until the transaction ends."""
    chosen = select(FaultRow).where(FaultRow.id == id).with_for_update(key_share=True)
    return tx.exec(chosen.execution_options(populate_existing=True)).first()


def get(tx: Session, id: str) -> FaultRow | None:
    """The fault as it stands now, without its lock."""
    return tx.exec(
        select(FaultRow).where(FaultRow.id == id).execution_options(populate_existing=True)
    ).first()


def open_of(tx: Session, students: Collection[str]) -> dict[str, list[FaultRow]]:
    """The open faults of these students, by student and id, without their locks."""
    found: defaultdict[str, list[FaultRow]] = defaultdict(list)
    for some in parts(sorted(students)):
        mine = select(FaultRow).where(col(FaultRow.student).in_(some), col(FaultRow.closed_at).is_(None))
        for row in tx.exec(mine.order_by(col(FaultRow.id))):
            found[row.student].append(row)
    return found


def spoken_of(tx: Session, students: Collection[str], since: date) -> dict[str, list[FaultRow]]:
    """The faults of these students that are open, or were reported from a date on, by student and id."""
    found: defaultdict[str, list[FaultRow]] = defaultdict(list)
    lively = or_(col(FaultRow.closed_at).is_(None), col(FaultRow.date) >= since)
    for some in parts(sorted(students)):
        mine = select(FaultRow).where(col(FaultRow.student).in_(some), lively)
        for row in tx.exec(mine.order_by(col(FaultRow.id))):
            found[row.student].append(row)
    return found


def of_code(tx: Session, student: str, code: str) -> list[FaultRow]:
    """All faults of one code that a student ever had, by id."""
    alike = select(FaultRow).where(FaultRow.student == student, FaultRow.code == code)
    return list(tx.exec(alike.order_by(col(FaultRow.id))))


def recent_of(tx: Session, student: str, since: datetime) -> list[FaultRow]:
    """A student's faults that are open or ended after an instant, by id, ours until the transaction ends."""
    late = or_(col(FaultRow.closed_at).is_(None), col(FaultRow.closed_at) >= since)
    chosen = select(FaultRow).where(FaultRow.student == student, late).order_by(col(FaultRow.id))
    fresh = chosen.with_for_update(key_share=True).execution_options(populate_existing=True)
    return list(tx.exec(fresh))


def all_of(
    tx: Session, *, school: str | None = None, student: str | None = None, only_open: bool = False
) -> list[FaultRow]:
    """Faults by the date of their report and id."""
    chosen = select(FaultRow)
    if school is not None:
        chosen = chosen.where(FaultRow.school == school)
    if student is not None:
        chosen = chosen.where(FaultRow.student == student)
    if only_open:
        chosen = chosen.where(col(FaultRow.closed_at).is_(None))
    return list(tx.exec(chosen.order_by(col(FaultRow.date), col(FaultRow.id))))


def reported_in(tx: Session, first: date, last: date) -> list[FaultRow]:
    """The faults reported from `first` to `last`, both included, by date and id."""
    chosen = select(FaultRow).where(FaultRow.date >= first, FaultRow.date <= last)
    return list(tx.exec(chosen.order_by(col(FaultRow.date), col(FaultRow.id))))


def out(tx: Session) -> dict[str, str]:
    """The loaners that are out, each with the student who has it."""
    lent = select(FaultRow.lent, FaultRow.student).where(
        col(FaultRow.closed_at).is_(None), col(FaultRow.lent) > ""
    )
    return {loaner: student for loaner, student in tx.exec(lent) if loaner}


def away(tx: Session, students: Collection[str], since: date) -> dict[str, set[date]]:
    """The dates from one on, on which a check found these students away."""
    found: defaultdict[str, set[date]] = defaultdict(set)
    for some in parts(sorted(students)):
        gone = select(CheckRow.student, col(CheckRow.date)).where(col(CheckRow.student).in_(some))
        for student, on in tx.exec(gone.where(CheckRow.date >= since, CheckRow.result == "away")):
            found[student].add(on)
    return found


def due(tx: Session, now: datetime, at_most: int) -> list[str]:
    """Ids of the open faults whose holder is to be reminded by now, the earliest first; not locked."""
    ready = select(FaultRow.id).where(col(FaultRow.closed_at).is_(None), col(FaultRow.wake_at) <= now)
    return list(tx.exec(ready.order_by(col(FaultRow.wake_at), col(FaultRow.id)).limit(at_most)))


def next_wake(tx: Session) -> datetime | None:
    """When the next holder is to be reminded."""
    waiting = select(FaultRow.wake_at).where(
        col(FaultRow.closed_at).is_(None), col(FaultRow.wake_at).is_not(None)
    )
    return tx.exec(waiting.order_by(col(FaultRow.wake_at)).limit(1)).first()


def insert(tx: Session, row: FaultRow) -> None:
    """Begin a fault, with the next flush."""
    put_later(tx, table_of(FaultRow), [row.model_dump()])
    OPEN_OF.forget(tx, row.student)


def save(tx: Session, row: FaultRow, **values: object) -> None:
    """Change a fault, with the next flush."""
    change(tx, row, **values)
    if row.closed_at is None:
        # It may have been opened again, which nobody who read ahead knows.
        OPEN_OF.forget(tx, row.student)
