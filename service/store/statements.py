"""What people said about checks."""

from datetime import datetime

from sqlmodel import Session, col, select

from service.store.tables import StatementRow


def add(tx: Session, row: StatementRow) -> None:
    """Keep a statement."""
    tx.add(row)
    tx.flush()


def of_check(tx: Session, check_id: str) -> list[StatementRow]:
    """The statements about a check that were not taken back, in the order said."""
    chosen = select(StatementRow).where(
        StatementRow.check_id == check_id, col(StatementRow.retracted_at).is_(None)
    )
    return list(tx.exec(chosen.order_by(col(StatementRow.id))))


def of_message(tx: Session, inbox_id: str) -> list[StatementRow]:
    """The standing statements made in one received message."""
    chosen = select(StatementRow).where(
        StatementRow.inbox_id == inbox_id, col(StatementRow.retracted_at).is_(None)
    )
    return list(tx.exec(chosen.order_by(col(StatementRow.id))))


def retract(tx: Session, row: StatementRow, at: datetime) -> None:
    """Take a statement back; it stays, marked."""
    row.retracted_at = at
    tx.add(row)
    tx.flush()
