"""How many rows wait, and what became of the latest: counted over ranges of an index, never over a whole table."""

from datetime import UTC, datetime

from sqlalchemy import ColumnElement, and_
from sqlmodel import Session, col, func, select

from service.store.tables import ChaseRow, CheckRow, InboxRow, OutboxRow, RoundRow

STATES = ("accepted", "claimed", "refused", "timed_out", "waiting")
"""Those of messages that were meant to leave."""


def rounds_due(tx: Session, by: datetime) -> int:
    """Rounds that were due by an instant and are not asked."""
    return tx.exec(select(func.count()).select_from(RoundRow).where(_due(by))).one()


def checks_due(tx: Session, by: datetime) -> int:
    """The checks of those rounds."""
    of = select(func.count()).select_from(CheckRow).join(RoundRow, col(RoundRow.id) == col(CheckRow.round_id))
    return tx.exec(of.where(_due(by))).one()


def _due(by: datetime) -> ColumnElement[bool]:
    return and_(col(RoundRow.state) == "planned", col(RoundRow.due) <= by)


def chases_open(tx: Session) -> int:
    """Chases that have not ended."""
    running = select(func.count()).select_from(ChaseRow).where(col(ChaseRow.ended_at).is_(None))
    # By two ranges of the index over what has not ended; asked in one, SQLite walks through all that ever was.
    asleep, awake = col(ChaseRow.wake_at).is_(None), col(ChaseRow.wake_at) >= datetime.min.replace(tzinfo=UTC)
    return sum(tx.exec(running.where(part)).one() for part in (asleep, awake))


def unread(tx: Session) -> int:
    """Messages received that nobody has read."""
    return tx.exec(select(func.count()).select_from(InboxRow).where(InboxRow.state == "unread")).one()


def unread_by_channel(tx: Session) -> dict[str, int]:
    """The same for each channel that has any."""
    counted = select(InboxRow.channel, func.count()).where(InboxRow.state == "unread")
    return dict(tx.exec(counted.group_by(InboxRow.channel)).all())


def messages(tx: Session, since: datetime) -> dict[str, int]:
    """Messages by state, of those that might leave from an instant on, at their latest attempt."""
    lately = select(OutboxRow.state, func.count()).where(*_lately(since))
    found = dict(tx.exec(lately.group_by(col(OutboxRow.state))).all())
    return {state: found.get(state, 0) for state in STATES}


def _lately(since: datetime) -> tuple[ColumnElement[bool], ...]:
    return col(OutboxRow.state).in_(STATES), col(OutboxRow.next_at) >= since
