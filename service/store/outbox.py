"""Messages to send: put once by key, claimed under a lease, finished by whoever holds the lease."""

from collections.abc import Collection, Iterable, Sequence
from datetime import datetime

from sqlalchemy import ColumnElement, and_, or_, update
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select

from service.store.tables import OutboxChase, OutboxRow, table_of
from service.store.writing import put_new, put_new_values

UNFINISHED = ("waiting", "claimed")


def put(tx: Session, row: OutboxRow, chases: Iterable[OutboxChase] = ()) -> bool:
    """Store a message and which chases it speaks for; False, and nothing done, where its key was used."""
    if not put_new(tx, row):
        return False
    put_new_values(tx, table_of(OutboxChase), [link.model_dump() for link in chases])
    return True


def claim(
    tx: Session,
    now: datetime,
    owner: str,
    lease_until: datetime,
    limit: int,
    lease_now: datetime | None = None,
    without: Collection[str] = (),
) -> list[OutboxRow]:
    """Take messages whose time has come, or whose lease ran out, earliest first; never the same one twice.

    A message that names an earlier one is left until that one is finished. Each claim counts as an attempt.
    `lease_now` is the instant by which leases are judged where it is not `now` (a clock that runs fast).
    Messages of the channels `without` are left: they have no room.
    """
    forsaken = and_(col(OutboxRow.state) == "claimed", col(OutboxRow.lease_until) <= (lease_now or now))
    waiting = and_(col(OutboxRow.state) == "waiting", col(OutboxRow.next_at) <= now)
    if without:
        room = col(OutboxRow.channel).not_in(sorted(without))
        forsaken, waiting = and_(forsaken, room), and_(waiting, room)
    taken = take(tx, forsaken, owner, lease_until, limit)
    # Apart, since an index gives each kind in its order, but not the two together.
    taken += take(tx, waiting, owner, lease_until, limit - len(taken))
    return sorted(taken, key=lambda row: (row.next_at, row.id))


def take(
    tx: Session, which: ColumnElement[bool], owner: str, lease_until: datetime, limit: int
) -> list[OutboxRow]:
    """Put up to `limit` messages that may leave into the hands of `owner`, passing over others' locks."""
    first = select(OutboxRow.id).where(which, not_behind_another()).limit(limit)
    ordered = first.order_by(col(OutboxRow.next_at), col(OutboxRow.id))
    chosen = ordered.with_for_update(skip_locked=True, key_share=True, of=OutboxRow).cte("ready")
    statement = (
        update(OutboxRow)
        .where(col(OutboxRow.id).in_(select(chosen.c.id)))
        .values(state="claimed", owner=owner, lease_until=lease_until, attempts=OutboxRow.attempts + 1)
        .returning(OutboxRow)
        .execution_options(synchronize_session=False, populate_existing=True)
    )
    return list(tx.exec(statement).scalars())


def finish(
    tx: Session,
    id: str,
    owner: str,
    state: str,
    at: datetime,
    outcome: str | None = None,
    next_at: datetime | None = None,
    attempt: int | None = None,
) -> bool:
    """Record what became of a claimed message; False, and nothing changed, where `owner` lost it meanwhile.

    `state` is accepted, refused, timed_out, dropped, or waiting to try again at `next_at`. `attempt`, the
    count the claim came with, also shuts out an earlier attempt of the same owner.
    """
    held = and_(col(OutboxRow.id) == id, col(OutboxRow.state) == "claimed", col(OutboxRow.owner) == owner)
    if attempt is not None:
        held = and_(held, col(OutboxRow.attempts) == attempt)
    change: dict[str, object] = {"state": state, "owner": None, "lease_until": None, "outcome": outcome}
    if state == "accepted":
        change["accepted_at"] = at
    if next_at is not None:
        change["next_at"] = next_at
    return bool(tx.exec(update(OutboxRow).where(held).values(**change)).rowcount)


def give_back(tx: Session, claims: Iterable[tuple[str, int]], owner: str) -> int:
    """Lay claimed messages back unsent, each named by id and attempt, as if they had not been claimed."""
    laid = 0
    for id, attempt in claims:
        held = and_(col(OutboxRow.id) == id, col(OutboxRow.state) == "claimed", col(OutboxRow.owner) == owner)
        same = update(OutboxRow).where(held, col(OutboxRow.attempts) == attempt)
        back = same.values(state="waiting", owner=None, lease_until=None, attempts=attempt - 1)
        laid += tx.exec(back).rowcount
    return laid


def next_at(tx: Session) -> datetime | None:
    """When the next waiting message may be claimed; those behind an unfinished one do not count."""
    waiting = select(OutboxRow.next_at).where(OutboxRow.state == "waiting", not_behind_another())
    return tx.exec(waiting.order_by(col(OutboxRow.next_at)).limit(1)).first()


def next_lease(tx: Session) -> datetime | None:
    """When the next lease runs out."""
    claimed = select(OutboxRow.lease_until).where(OutboxRow.state == "claimed")
    return tx.exec(claimed.order_by(col(OutboxRow.lease_until)).limit(1)).first()


def drop(tx: Session, id: str, reason: str, owner: str | None = None) -> bool:
    """Withdraw a message that is still waiting, or that `owner` has claimed; False where it is too late.

    What another has claimed may be leaving at this moment, so it is not ours to withdraw.
    """
    mine = and_(col(OutboxRow.state) == "claimed", col(OutboxRow.owner) == owner)
    there = or_(col(OutboxRow.state) == "waiting", mine)
    change = {"state": "dropped", "owner": None, "lease_until": None, "outcome": reason}
    return bool(tx.exec(update(OutboxRow).where(col(OutboxRow.id) == id, there).values(**change)).rowcount)


def unfinished_about(tx: Session, person: str, chases: Collection[str]) -> str | None:
    """The id of the last message to a person about any of these chases that is still on its way."""
    linked = select(OutboxChase.outbox_id).where(col(OutboxChase.chase_id).in_(sorted(chases)))
    chosen = select(OutboxRow.id).where(col(OutboxRow.id).in_(linked), OutboxRow.person == person)
    waiting = chosen.where(col(OutboxRow.state).in_(UNFINISHED))
    return tx.exec(
        waiting.order_by(col(OutboxRow.created_at).desc(), col(OutboxRow.id).desc()).limit(1)
    ).first()


def may_have_reached(tx: Session, person: str, chases: Collection[str]) -> bool:
    """Whether any message to a person about these chases was taken, or may have been (an unknown outcome)."""
    linked = select(OutboxChase.outbox_id).where(col(OutboxChase.chase_id).in_(sorted(chases)))
    chosen = select(OutboxRow).where(col(OutboxRow.id).in_(linked), OutboxRow.person == person)
    return any(row.state == "accepted" or row.body.get("unknown") for row in tx.exec(chosen))


def not_behind_another() -> ColumnElement[bool]:
    """No unfinished message is named as the one to go before."""
    earlier = aliased(OutboxRow)
    ahead = select(earlier.id).where(
        col(earlier.id) == col(OutboxRow.after_id), col(earlier.state).in_(UNFINISHED)
    )
    return ~ahead.correlate(OutboxRow).exists()


def get(tx: Session, id: str) -> OutboxRow | None:
    """One message as it stands in the database now."""
    return tx.exec(
        select(OutboxRow).where(OutboxRow.id == id).execution_options(populate_existing=True)
    ).first()


def lock(tx: Session, id: str) -> OutboxRow | None:
    """One message as it stands now, ours until the transaction ends."""
    chosen = select(OutboxRow).where(OutboxRow.id == id).with_for_update(key_share=True)
    return tx.exec(chosen.execution_options(populate_existing=True)).first()


def last_to(tx: Session, person: str, asking: Sequence[str] = ()) -> OutboxRow | None:
    """The last message made for a person that was not dropped, of the purposes in `asking` if any are named."""
    chosen = select(OutboxRow).where(OutboxRow.person == person, col(OutboxRow.state) != "dropped")
    if asking:
        chosen = chosen.where(col(OutboxRow.purpose).in_(asking))
    return tx.exec(
        chosen.order_by(col(OutboxRow.created_at).desc(), col(OutboxRow.id).desc()).limit(1)
    ).first()
