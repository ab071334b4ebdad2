"""What the record is put together from: checks of a range of days, and all that hangs on them."""

from collections.abc import Collection, Iterator, Sequence
from datetime import date, datetime
from typing import Any, TypeVar

from sqlmodel import Session, col, select

from service.store.tables import (
    ChaseRow,
    CheckRow,
    InboxRow,
    OutboxChase,
    OutboxRow,
    RoundRow,
    StatementRow,
)

AT_ONCE = 500
"""Ids in one question: SQLite takes some thousands, and a short statement is prepared faster."""

T = TypeVar("T")


def checks(
    tx: Session, first: date, last: date, school: str | None = None, student: str | None = None
) -> list[CheckRow]:
    """The checks from `first` to `last`, both included, by date, school, round and number."""
    chosen = select(CheckRow).where(CheckRow.date >= first, CheckRow.date <= last)
    if school is not None:
        chosen = chosen.where(CheckRow.school == school)
    if student is not None:
        chosen = chosen.where(CheckRow.student == student)
    order = (CheckRow.date, CheckRow.school, CheckRow.round_id, CheckRow.number, CheckRow.id)
    return list(tx.exec(chosen.order_by(*(col(c) for c in order))))


def rounds_named(tx: Session, ids: Collection[str]) -> dict[str, RoundRow]:
    """Rounds by id."""
    return {row.id: row for row in _named(tx, RoundRow, RoundRow.id, ids)}


def checks_named(tx: Session, ids: Collection[str]) -> dict[str, CheckRow]:
    """Checks by id."""
    return {row.id: row for row in _named(tx, CheckRow, CheckRow.id, ids)}


def checks_of_rounds(tx: Session, ids: Collection[str]) -> list[CheckRow]:
    """All checks of these rounds."""
    return _named(tx, CheckRow, CheckRow.round_id, ids)


def statements(tx: Session, check_ids: Collection[str]) -> list[StatementRow]:
    """Everything said about these checks in the order said, also what was taken back."""
    found = _named(tx, StatementRow, StatementRow.check_id, check_ids)
    return sorted(found, key=lambda row: row.id or 0)


def said_in(tx: Session, inbox_ids: Collection[str]) -> list[StatementRow]:
    """Everything that was said in these messages."""
    return _named(tx, StatementRow, StatementRow.inbox_id, inbox_ids)


def messages_in(tx: Session, ids: Collection[str]) -> dict[str, InboxRow]:
    """Received messages by id."""
    return {row.id: row for row in _named(tx, InboxRow, InboxRow.id, ids)}


def chases_about(tx: Session, check_ids: Collection[str]) -> list[ChaseRow]:
    """The chases of these checks, by id."""
    return sorted(_named(tx, ChaseRow, ChaseRow.check_id, check_ids), key=lambda row: row.id)


def messages_about(tx: Session, chase_ids: Collection[str]) -> list[tuple[str, OutboxRow]]:
    """The messages that spoke for these chases, each with the chase, in the order made."""
    links = _named(tx, OutboxChase, OutboxChase.chase_id, chase_ids)
    sent = {row.id: row for row in _named(tx, OutboxRow, OutboxRow.id, {x.outbox_id for x in links})}
    pairs = [(link.chase_id, sent[link.outbox_id]) for link in links]
    return sorted(pairs, key=lambda pair: (pair[1].created_at, pair[1].id, pair[0]))


def spoken_for(tx: Session, outbox_ids: Collection[str]) -> dict[str, list[OutboxChase]]:
    """For which chases and checks each of these messages speaks, by message."""
    found: dict[str, list[OutboxChase]] = {id: [] for id in outbox_ids}
    for link in _named(tx, OutboxChase, OutboxChase.outbox_id, outbox_ids):
        found[link.outbox_id].append(link)
    return found


def message_times(tx: Session, person: str, since: datetime, purposes: Sequence[str]) -> list[datetime]:
    """When messages of these purposes that we began were made for a person and accepted, earliest first."""
    chosen = select(OutboxRow.created_at).where(
        OutboxRow.person == person,
        OutboxRow.state == "accepted",
        OutboxRow.created_at >= since,
        col(OutboxRow.in_reply_to).is_(None),
        col(OutboxRow.purpose).in_(purposes),
    )
    return list(tx.exec(chosen.order_by(col(OutboxRow.created_at))))


def reply_times(tx: Session, person: str, since: datetime) -> list[datetime]:
    """When a person's messages and presses were received, earliest first."""
    chosen = select(InboxRow.received_at).where(InboxRow.person == person, InboxRow.received_at >= since)
    return list(tx.exec(chosen.order_by(col(InboxRow.received_at))))


def _named(tx: Session, kind: type[T], column: Any, ids: Collection[str]) -> list[T]:
    return [row for some in parts(sorted(ids)) for row in tx.exec(select(kind).where(col(column).in_(some)))]


def parts(ids: Sequence[T], at_once: int = AT_ONCE) -> Iterator[Sequence[T]]:
    """The ids, so many at a time; by default as many as one question takes."""
    for start in range(0, len(ids), at_once):
        yield ids[start : start + at_once]
