"""Chases: read, stepped and kept under their row's lock."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from datetime import date, datetime
from typing import Any, NamedTuple

from sqlalchemy import false, func, or_
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from service.store.ahead import Question
from service.store.batches import change, change_later, put_later
from service.store.tables import ChaseRow, table_of

CHASE: Question[ChaseRow] = Question()
OF_CHECK: Question[list[ChaseRow]] = Question()
FAULTS_OF: Question[list[ChaseRow]] = Question()
ALARMS: Question[list[ChaseRow]] = Question()


def lock(tx: Session, id: str) -> ChaseRow | None:
    """The chase as it stands now, ours until the transaction ends; waits for whoever holds it.

    On SQLite the write transaction is the lock. Chases are read ahead under their locks only.
    """
    known = CHASE.known(tx, id)
    if known is not None:
        return known
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


def lock_free(tx: Session, ids: Iterable[str]) -> set[str]:
    """Lock those of these chases that nobody else holds, and say which."""
    wanted = select(ChaseRow.id).where(col(ChaseRow.id).in_(sorted(ids))).order_by(col(ChaseRow.id))
    return set(tx.exec(wanted.with_for_update(skip_locked=True, key_share=True)))


def checks_of(tx: Session, ids: Iterable[str]) -> set[str]:
    """The checks that these chases are about."""
    found = select(ChaseRow.check_id).where(col(ChaseRow.id).in_(sorted(ids)))
    return {check for check in tx.exec(found) if check is not None}


def with_checks(tx: Session, ids: Iterable[str], checks: Iterable[str]) -> set[str]:
    """Those of these chases that are about one of these checks, or about none."""
    mine = or_(col(ChaseRow.check_id).is_(None), col(ChaseRow.check_id).in_(sorted(checks)))
    return set(tx.exec(select(ChaseRow.id).where(col(ChaseRow.id).in_(sorted(ids)), mine)))


def about(tx: Session, ids: Iterable[str], checks: Iterable[str]) -> set[str]:
    """Those of these chases that are about one of these checks."""
    named = col(ChaseRow.id).in_(sorted(ids)), col(ChaseRow.check_id).in_(sorted(checks))
    return set(tx.exec(select(ChaseRow.id).where(*named)))


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
    known = OF_CHECK.known(tx, check_id)
    return of_checks(tx, [check_id])[check_id] if known is None else list(known)


def of_checks(tx: Session, checks: Collection[str]) -> dict[str, list[ChaseRow]]:
    """The same for several checks."""
    found: dict[str, list[ChaseRow]] = {check: [] for check in checks}
    chosen = select(ChaseRow).where(col(ChaseRow.check_id).in_(sorted(checks)))
    for row in tx.exec(chosen.order_by(col(ChaseRow.id))):
        found[row.check_id or ""].append(row)
    return found


def read_ahead(
    tx: Session, checks: Collection[str], students: Collection[str], ids: Collection[str]
) -> list[ChaseRow]:
    """Read the chases of these checks, the open faults of these students, `ids`, and the emergencies, all of which
    must be ours already; says them.
    """
    of = of_checks(tx, checks)
    faults = open_faults(tx, students)
    alarms = list(tx.exec(_alarms()))
    OF_CHECK.tell(tx, of)
    FAULTS_OF.tell(tx, {student: faults.get(student, []) for student in students})
    ALARMS.tell(tx, {ALARMS: alarms})
    rows = [*alarms, *(row for rows in (*of.values(), *faults.values()) for row in rows)]
    known = {row.id: row for row in rows}
    known |= locked(tx, {*ids} - known.keys())
    CHASE.tell(tx, known)
    return list(known.values())


def open_of_school(tx: Session, school: str) -> list[ChaseRow]:
    """A school's chases that have not ended, of whatever date, by date and id."""
    chosen = select(ChaseRow).where(ChaseRow.school == school, col(ChaseRow.ended_at).is_(None))
    return list(tx.exec(chosen.order_by(col(ChaseRow.date), col(ChaseRow.id))))


class Open(NamedTuple):
    """A chase that has not ended, and what it is about."""

    id: str
    check: str | None
    why: str


def open_in_school(tx: Session, school: str) -> list[Open]:
    """The same without what the rows hold, for whoever wants to see few of them whole."""
    tx.flush()
    table = table_of(ChaseRow)
    chosen = sql_select(table.c.id, table.c.check_id, table.c.why)
    mine = chosen.where(table.c.school == school, table.c.ended_at.is_(None))
    return [Open(*row) for row in tx.connection().execute(mine.order_by(table.c.date, table.c.id))]


def rows_of(tx: Session, ids: Collection[str]) -> dict[str, ChaseRow]:
    """These chases as they stand now, by id, without their locks."""
    chosen = select(ChaseRow).where(col(ChaseRow.id).in_(sorted(ids)))
    return {row.id: row for row in tx.exec(chosen.execution_options(populate_existing=True))}


def insert(tx: Session, values: Mapping[str, Any]) -> None:
    """Begin a chase given as column values, with the next flush; one of that id that is there already stays."""
    OF_CHECK.forget(tx, values["check_id"])
    _another(tx, values["why"], values["student"], values["severity"])
    put_later(tx, table_of(ChaseRow), [values])


def save(tx: Session, row: ChaseRow, **values: Any) -> None:
    """Change a chase, with the next flush; its body too where that was changed in place."""
    severity = values.get("severity", row.severity)
    if row.ended_at is not None or severity != row.severity:
        _another(tx, row.why, row.student, severity)
    change(tx, row, **{"body": row.body, **values})


def alter(tx: Session, id: str, **values: Any) -> None:
    """Change a chase that began in this transaction, and of which nobody has the row yet."""
    change_later(tx, table_of(ChaseRow), (id,), **values)


def _another(tx: Session, why: str, student: str | None, severity: str | None) -> None:
    """One more may be open from now on."""
    if why == "fault":
        FAULTS_OF.forget(tx, student)
    if severity == "emergency":
        ALARMS.forget(tx, ALARMS)


def open_faults_of(tx: Session, student: str) -> list[str]:
    """Ids of the fault chases about a student that have not ended, by id."""
    known = FAULTS_OF.known(tx, student)
    rows = open_faults(tx, [student]).get(student, []) if known is None else known
    return [row.id for row in rows if row.ended_at is None]


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
    known = ALARMS.known(tx, ALARMS)
    rows = tx.exec(_alarms()) if known is None else known
    return [row.id for row in rows if row.ended_at is None and school in (None, row.school)]


def _alarms() -> SelectOfScalar[ChaseRow]:
    found = select(ChaseRow).where(ChaseRow.severity == "emergency", col(ChaseRow.ended_at).is_(None))
    return found.order_by(col(ChaseRow.id))


def counts_of(tx: Session, checks: Collection[str], why: str) -> dict[str, int]:
    """How many chases of one cause each of these checks has had so far; those without any are left out."""
    known = {id: rows for id in checks if (rows := OF_CHECK.known(tx, id)) is not None}
    counts = {id: n for id, rows in known.items() if (n := sum(row.why == why for row in rows))}
    if len(known) == len(checks):
        return counts
    asked = col(ChaseRow.check_id).in_(sorted({*checks} - known.keys()))
    same = select(ChaseRow.check_id, func.count()).where(asked, ChaseRow.why == why)
    counted = same.group_by(col(ChaseRow.check_id))
    return counts | {check: n for check, n in tx.exec(counted) if check is not None}


def get(tx: Session, id: str) -> ChaseRow | None:
    """The chase as it stands now, without its lock."""
    return tx.exec(
        select(ChaseRow).where(ChaseRow.id == id).execution_options(populate_existing=True)
    ).first()


def open_rows(tx: Session) -> list[ChaseRow]:
    """All chases that have not ended, by id; not locked."""
    return list(tx.exec(select(ChaseRow).where(col(ChaseRow.ended_at).is_(None)).order_by(col(ChaseRow.id))))


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
