"""Messages received: stored first, word for word, and read afterwards."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from operator import itemgetter

from sqlalchemy import or_, tuple_
from sqlmodel import Session, col, select

from service.store.batches import change, insert_free
from service.store.tables import InboxRow, table_of
from service.store.writing import storable, storable_body

LIMIT_BYTES = 65_536
"""How much of one message is kept (64 kB of UTF-8); beyond it the beginning is, flagged."""


PRESSED = ("page", "board")
"""What presses come by."""


def take(tx: Session, row: InboxRow) -> tuple[InboxRow, bool]:
    """Store a message before anyone interprets it; says what is stored and whether it was new.

    A repeated (channel, external id) gives the first message back, whatever the second one holds.
    """
    return take_all(tx, [row])[0]


def take_all(tx: Session, rows: Sequence[InboxRow]) -> list[tuple[InboxRow, bool]]:
    """Store several messages as `take` does, in their order."""
    wanted: dict[tuple[str, str], InboxRow] = {}
    for row in rows:
        _make_storable(row)
        wanted.setdefault((row.channel, row.external_id), row)
    table = table_of(InboxRow)
    # In one order, so that two instances that store the same messages do not wait for each other in a circle.
    ordered = sorted((row.model_dump() for row in wanted.values()), key=itemgetter("id"))
    insert = insert_free(tx.connection().dialect.name, table).returning(table.c.channel, table.c.external_id)
    new = {(channel, external_id) for channel, external_id in tx.connection().execute(insert, ordered)}
    named = tuple_(col(InboxRow.channel), col(InboxRow.external_id)).in_(sorted(wanted))
    stored = {(row.channel, row.external_id): row for row in tx.exec(select(InboxRow).where(named))}
    return [
        (stored[key], key in new and wanted[key] is row)
        for row in rows
        if (key := (row.channel, row.external_id))
    ]


def _make_storable(row: InboxRow) -> None:
    row.text, cut = kept(storable(row.text))
    row.truncated = row.truncated or cut
    row.body = storable_body(row.body)
    row.external_id, row.address = storable(row.external_id), storable(row.address)


def unread(tx: Session, limit: int) -> list[InboxRow]:
    """Messages nobody has read, oldest first; PostgreSQL locks them and passes over others'."""
    chosen = select(InboxRow).where(InboxRow.state == "unread")
    first = chosen.order_by(col(InboxRow.received_at), col(InboxRow.id)).limit(limit)
    fresh = first.with_for_update(skip_locked=True, key_share=True).execution_options(populate_existing=True)
    return sorted(tx.exec(fresh), key=lambda row: (row.received_at, row.id))


def unread_since(tx: Session, at: datetime, after: str, limit: int) -> list[InboxRow]:
    """Unread messages received from an instant on, oldest first, those of that very instant by id behind `after`;
    ours until the transaction ends, others' passed over.
    """
    place = tuple_(col(InboxRow.received_at), col(InboxRow.id))
    chosen = select(InboxRow).where(InboxRow.state == "unread", place > (at, after))
    first = chosen.order_by(col(InboxRow.received_at), col(InboxRow.id)).limit(limit)
    return list(tx.exec(first.with_for_update(skip_locked=True, key_share=True)))


def has_unread(tx: Session) -> bool:
    """Whether there is a message that nobody has finished reading."""
    return tx.exec(select(InboxRow.id).where(InboxRow.state == "unread").limit(1)).first() is not None


def oldest_unread(tx: Session) -> datetime | None:
    """When the oldest message that nobody has read came in."""
    waiting = select(InboxRow.received_at).where(InboxRow.state == "unread")
    return tx.exec(waiting.order_by(col(InboxRow.received_at)).limit(1)).first()


def mark(
    tx: Session,
    id: str,
    state: str,
    person: str | None = None,
    round_id: str | None = None,
    *,
    more: Mapping[str, object] | None = None,
) -> InboxRow:
    """Note, with the next flush, that a message was read or put aside, whom and what it turned out to concern, and
    what more came of it.

    Raises KeyError where there is no such message.
    """
    row = tx.get(InboxRow, id)
    if row is None:
        raise KeyError(id)
    known = {"person": person or row.person, "round_id": round_id or row.round_id}
    change(tx, row, state=state, **known, body={**row.body, **(more or {})})
    return row


def take_back(tx: Session, row: InboxRow) -> None:
    """Note that what a message had set in motion was taken back."""
    change(tx, row, body={name: kept for name, kept in row.body.items() if name != "did"})


def kept(text: str) -> tuple[str, bool]:
    """The beginning of a text that we keep, and whether something was cut; never half a character."""
    encoded = text.encode()
    if len(encoded) <= LIMIT_BYTES:
        return text, False
    return encoded[:LIMIT_BYTES].decode(errors="ignore"), True


def get(tx: Session, id: str) -> InboxRow | None:
    """One message by id."""
    return tx.get(InboxRow, id)


def lock(tx: Session, id: str) -> InboxRow | None:
    """One message as it stands now, ours until the transaction ends."""
    chosen = select(InboxRow).where(InboxRow.id == id).with_for_update(key_share=True)
    return tx.exec(chosen.execution_options(populate_existing=True)).first()


def lock_all(tx: Session, ids: Sequence[str]) -> list[InboxRow]:
    """Several, oldest first."""
    chosen = select(InboxRow).where(col(InboxRow.id).in_(sorted(ids))).order_by(col(InboxRow.id))
    fresh = chosen.with_for_update(key_share=True).execution_options(populate_existing=True)
    return sorted(tx.exec(fresh), key=lambda row: (row.received_at, row.id))


def lock_free(tx: Session, id: str) -> InboxRow | None:
    """The same as `lock`, unless somebody else holds it."""
    chosen = select(InboxRow).where(InboxRow.id == id).with_for_update(key_share=True, skip_locked=True)
    return tx.exec(chosen.execution_options(populate_existing=True)).first()


def recent_of(tx: Session, person: str, before: str, limit: int = 20) -> list[InboxRow]:
    """A person's read messages other than the one named, newest first."""
    chosen = select(InboxRow).where(
        InboxRow.person == person, InboxRow.id != before, InboxRow.state == "read"
    )
    newest = chosen.order_by(col(InboxRow.received_at).desc(), col(InboxRow.id).desc()).limit(limit)
    return list(tx.exec(newest))


def since(tx: Session, at: datetime) -> list[InboxRow]:
    """Messages received from an instant on, newest first; presses, which have no words, left out."""
    said = or_(col(InboxRow.text) != "", col(InboxRow.channel).not_in(PRESSED))
    chosen = select(InboxRow).where(InboxRow.received_at >= at, said)
    return list(tx.exec(chosen.order_by(col(InboxRow.received_at).desc(), col(InboxRow.id).desc())))
