"""What people said about checks."""

from collections.abc import Collection
from datetime import datetime

from sqlmodel import Session, col, select

from service.store.ahead import Question
from service.store.batches import change, put_later
from service.store.tables import StatementRow, table_of

OF_CHECK: Question[list[StatementRow]] = Question()


def add(tx: Session, row: StatementRow) -> None:
    """Keep a statement, with the next flush."""
    put_later(tx, table_of(StatementRow), [row.model_dump(exclude={"id"})])
    known = OF_CHECK.known(tx, row.check_id)
    if known is not None:
        known.append(row)


def of_check(tx: Session, check_id: str) -> list[StatementRow]:
    """The statements about a check that were not taken back, in the order said."""
    known = OF_CHECK.known(tx, check_id)
    rows = of_checks(tx, [check_id])[check_id] if known is None else known
    return [row for row in rows if row.retracted_at is None]


def of_checks(tx: Session, checks: Collection[str]) -> dict[str, list[StatementRow]]:
    """All statements about each of these checks, in the order said."""
    found: dict[str, list[StatementRow]] = {check: [] for check in checks}
    chosen = select(StatementRow).where(col(StatementRow.check_id).in_(sorted(checks)))
    for row in tx.exec(chosen.order_by(col(StatementRow.id))):
        found[row.check_id].append(row)
    return found


def read_ahead(tx: Session, checks: Collection[str]) -> None:
    """Read what was said about these checks."""
    OF_CHECK.tell(tx, of_checks(tx, checks))


def of_message(tx: Session, inbox_id: str) -> list[StatementRow]:
    """The standing statements made in one received message."""
    chosen = select(StatementRow).where(
        StatementRow.inbox_id == inbox_id, col(StatementRow.retracted_at).is_(None)
    )
    return list(tx.exec(chosen.order_by(col(StatementRow.id))))


def retract(tx: Session, row: StatementRow, at: datetime) -> None:
    """Take a statement back; it stays, marked."""
    OF_CHECK.forget(tx, row.check_id)
    change(tx, row, retracted_at=at)


def as_written(tx: Session, check_id: str) -> list[StatementRow]:
    """The same as `of_check`, as rows that can be taken back: those of this very transaction too."""
    tx.flush()
    OF_CHECK.forget(tx, check_id)
    return of_check(tx, check_id)
