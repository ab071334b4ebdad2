"""Messages to send: put once by key, claimed under a lease, finished by whoever holds the lease."""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Update, and_, bindparam, false, func, or_, tuple_, update
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from service.store.ahead import Question
from service.store.batches import put_later
from service.store.tables import OutboxChase, OutboxRow, table_of

UNFINISHED = ("waiting", "claimed")

Values = Mapping[str, Any]


MESSAGE: Question[OutboxRow] = Question()
LAST_TO: Question[OutboxRow] = Question()


class OnItsWay(NamedTuple):
    """A message that was not taken yet, and one of the chases it speaks for."""

    chase: str
    person: str
    id: str


def put(tx: Session, messages: Mapping[str, tuple[Values, Collection[str]]]) -> frozenset[str]:
    """Store messages with the next flush: by key, their column values and the chases they speak for.

    A key that was used stays as it is. Says which of the keys were new.
    """
    used = set(tx.exec(select(OutboxRow.key).where(col(OutboxRow.key).in_(sorted(messages)))))
    new = {key: message for key, message in messages.items() if key not in used}
    for values, _ in new.values():
        LAST_TO.forget(tx, values["person"])
    put_later(tx, table_of(OutboxRow), (values for values, _ in new.values()))
    links = (
        {"outbox_id": values["id"], "chase_id": chase, "check_id": None}
        for values, chases in new.values()
        for chase in chases
    )
    put_later(tx, table_of(OutboxChase), links)
    return frozenset(new)


class Only(NamedTuple):
    """Messages of one purpose, made since an instant: what alone may leave."""

    purpose: str
    since: datetime

    def meant(self) -> ColumnElement[bool]:
        """A message that is one of them."""
        return and_(col(OutboxRow.purpose) == self.purpose, col(OutboxRow.created_at) >= self.since)


@dataclass(frozen=True)
class Room:
    """How many messages whoever claims can take in: of each channel that is `scarce`, of any other, and to one
    address, of which `held` says how many they have already, by channel and address.
    """

    scarce: Mapping[str, int] = field(default_factory=dict)
    channel: int = 1000
    address: int = 1000
    held: Mapping[tuple[str, str], int] = field(default_factory=dict)

    def full(self) -> ColumnElement[bool]:
        """A message that there is no room for."""
        channels = sorted(name for name, free in self.scarce.items() if free <= 0)
        places = sorted(place for place, count in self.held.items() if count >= self.address)
        place = tuple_(col(OutboxRow.channel), col(OutboxRow.address))
        return or_(
            col(OutboxRow.channel).in_(channels) if channels else false(),
            place.in_(places) if places else false(),
        )

    def choose(self, ready: Iterable[tuple[str, str, str]]) -> list[str]:
        """Those of these (id, channel, address) that there is room for, in their order."""
        channels: Counter[str] = Counter()
        places = Counter(self.held)
        chosen: list[str] = []
        for id, channel, address in ready:
            free = self.scarce.get(channel, self.channel)
            if channels[channel] < free and places[channel, address] < self.address:
                channels[channel] += 1
                places[channel, address] += 1
                chosen.append(id)
        return chosen


def claim(
    tx: Session,
    now: datetime,
    owner: str,
    lease_until: datetime,
    limit: int,
    lease_now: datetime | None = None,
    room: Room | None = None,
    only: Only | None = None,
) -> list[OutboxRow]:
    """Take messages whose time has come, or whose lease ran out, earliest first; never the same one twice.

    A message that names an earlier one is left until that one is finished. Each claim counts as an attempt.
    `lease_now` is the instant by which leases are judged where it is not `now` (a clock that runs fast).
    What there is no `room` for is left, so that many messages to one address stand in no other's way. `only`: nothing
    else is taken.
    """
    forsaken = and_(col(OutboxRow.state) == "claimed", col(OutboxRow.lease_until) <= (lease_now or now))
    waiting = and_(col(OutboxRow.state) == "waiting", col(OutboxRow.next_at) <= now)
    if only is not None:
        forsaken, waiting = and_(forsaken, only.meant()), and_(waiting, only.meant())
    space = room or Room()
    taken = take(tx, forsaken, owner, lease_until, limit, space)
    # Apart, since an index gives each kind in its order, but not the two together.
    taken += take(tx, waiting, owner, lease_until, limit - len(taken), space)
    return sorted(taken, key=lambda row: (row.next_at, row.id))


def take(
    tx: Session, which: ColumnElement[bool], owner: str, lease_until: datetime, limit: int, room: Room
) -> list[OutboxRow]:
    """Put up to `limit` messages that may leave into the hands of `owner`, passing over others' locks.

    Fewer are taken where there is no room for all; none only where there is nothing that there is room for.
    """
    named = select(OutboxRow.id, OutboxRow.channel, OutboxRow.address)
    first = named.where(which, not_behind_another(), ~room.full()).limit(limit)
    ordered = first.order_by(col(OutboxRow.next_at), col(OutboxRow.id))
    ready = tx.exec(ordered.with_for_update(skip_locked=True, key_share=True, of=OutboxRow)).all()
    chosen = room.choose(ready)
    if not chosen:
        return []
    statement = (
        update(OutboxRow)
        .where(col(OutboxRow.id).in_(chosen))
        .values(state="claimed", owner=owner, lease_until=lease_until, attempts=OutboxRow.attempts + 1)
        .returning(OutboxRow)
        .execution_options(synchronize_session=False, populate_existing=True)
    )
    return list(tx.exec(statement).scalars())


@dataclass(frozen=True)
class Finish:
    """What became of one claim. `state` is accepted, refused, timed_out, dropped, or waiting to try again at
    `next_at`. `attempt`, the count the claim came with, also shuts out an earlier attempt of the same owner.
    """

    id: str
    state: str
    outcome: str | None = None
    next_at: datetime | None = None
    attempt: int | None = None


def finish(tx: Session, finished: Sequence[Finish], owner: str, at: datetime) -> int:
    """Record what became of claimed messages; says of how many. What `owner` lost meanwhile stays unchanged."""
    alike: dict[tuple[bool, bool, bool], list[dict[str, object]]] = {}
    for one in finished:
        kind = (one.state == "accepted", one.next_at is not None, one.attempt is not None)
        named = {"of": one.id, "by": owner, "claim": one.attempt, "became": one.state, "why": one.outcome}
        alike.setdefault(kind, []).append({**named, "now": at, "later": one.next_at})
    tx.flush()
    done = 0
    for kind, rows in alike.items():
        statement = _finishing(*kind).execution_options(preserve_rowcount=True)
        done += tx.connection().execute(statement, rows).rowcount
    return done


def _finishing(accepted: bool, again: bool, counted: bool) -> Update:
    table = table_of(OutboxRow)
    held = [table.c.id == bindparam("of"), table.c.state == "claimed", table.c.owner == bindparam("by")]
    if counted:
        held.append(table.c.attempts == bindparam("claim"))
    change: dict[str, object] = {"state": bindparam("became"), "outcome": bindparam("why")}
    if accepted:
        change["accepted_at"] = bindparam("now")
    if again:
        change["next_at"] = bindparam("later")
    return update(table).where(*held).values(owner=None, lease_until=None, **change)


def give_back(tx: Session, claims: Iterable[tuple[str, int]], owner: str) -> int:
    """Lay claimed messages back unsent, each named by id and attempt, as if they had not been claimed."""
    laid = 0
    for id, attempt in claims:
        held = and_(col(OutboxRow.id) == id, col(OutboxRow.state) == "claimed", col(OutboxRow.owner) == owner)
        same = update(OutboxRow).where(held, col(OutboxRow.attempts) == attempt)
        back = same.values(state="waiting", owner=None, lease_until=None, attempts=attempt - 1)
        laid += tx.exec(back).rowcount
    return laid


def put_off_giving_up(tx: Session, span: timedelta) -> None:
    """Give every unfinished message so much longer to be of use."""
    chosen = select(OutboxRow).where(col(OutboxRow.state).in_(UNFINISHED), col(OutboxRow.give_up_at).is_not(None))
    for row in tx.exec(chosen.order_by(col(OutboxRow.id)).with_for_update(key_share=True)):
        if row.give_up_at is not None:
            row.give_up_at += span
            tx.add(row)
    tx.flush()


def next_at(tx: Session, only: Only | None = None) -> datetime | None:
    """When the next waiting message, of those that may leave, may be claimed; those behind an unfinished one do not
    count.
    """
    waiting = select(OutboxRow.next_at).where(OutboxRow.state == "waiting", not_behind_another())
    if only is not None:
        waiting = waiting.where(only.meant())
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


def unfinished_until(tx: Session, until: datetime) -> list[OutboxRow]:
    """The messages made by then that are still on their way, oldest first."""
    chosen = select(OutboxRow).where(
        col(OutboxRow.state).in_(UNFINISHED), col(OutboxRow.created_at) <= until
    )
    return list(tx.exec(chosen.order_by(col(OutboxRow.created_at), col(OutboxRow.id))))


def unfinished(tx: Session, chases: Collection[str]) -> list[OnItsWay]:
    """The messages about any of these chases that are still on their way, in the order in which they were made."""
    linked = select(OutboxChase.outbox_id, OutboxChase.chase_id)
    links = tx.exec(linked.where(col(OutboxChase.chase_id).in_(sorted(chases)))).all()
    named = select(OutboxRow.id, OutboxRow.person, OutboxRow.created_at, OutboxRow.state)
    # Whether it is finished is judged here: at a bell a database would rather look through all that are not.
    found = tx.exec(named.where(col(OutboxRow.id).in_(sorted({id for id, _ in links})))) if links else ()
    made = {id: (created_at, id, person) for id, person, created_at, state in found if state in UNFINISHED}
    return [
        OnItsWay(chase, person, id)
        for _, id, person, chase in sorted((*made[id], chase) for id, chase in links if id in made)
    ]


def last_of(known: Sequence[OnItsWay], person: str, chases: Collection[str]) -> str | None:
    """The last of these messages that goes to the person about any of the chases."""
    return next((x.id for x in reversed(known) if x.person == person and x.chase in chases), None)


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
    return MESSAGE.known(tx, id) or by_id(tx, [id]).get(id)


def by_id(tx: Session, ids: Iterable[str]) -> dict[str, OutboxRow]:
    """These messages as they stand in the database now."""
    return {row.id: row for row in tx.exec(_fresh(ids))}


def lock(tx: Session, ids: Iterable[str]) -> dict[str, OutboxRow]:
    """These messages as they stand now, ours until the transaction ends, locked in the order of their ids."""
    ordered = _fresh(ids).order_by(col(OutboxRow.id))
    return {row.id: row for row in tx.exec(ordered.with_for_update(key_share=True))}


def _fresh(ids: Iterable[str]) -> SelectOfScalar[OutboxRow]:
    chosen = select(OutboxRow).where(col(OutboxRow.id).in_(sorted(ids)))
    return chosen.execution_options(populate_existing=True)


def last_to(tx: Session, person: str, asking: Sequence[str] = ()) -> OutboxRow | None:
    """The last message made for a person that was not dropped, of the purposes in `asking` if any are named."""
    known = None if asking else LAST_TO.known(tx, person)
    if known is not None:
        return known
    chosen = select(OutboxRow).where(OutboxRow.person == person, col(OutboxRow.state) != "dropped")
    if asking:
        chosen = chosen.where(col(OutboxRow.purpose).in_(asking))
    newest = chosen.order_by(col(OutboxRow.created_at).desc(), col(OutboxRow.id).desc())
    return tx.exec(newest.limit(1)).first()


def recent_to(tx: Session, person: str, since: datetime, limit: int = 50) -> list[OutboxRow]:
    """What was made for a person since an instant, newest first."""
    chosen = select(OutboxRow).where(OutboxRow.person == person, col(OutboxRow.created_at) >= since)
    return list(tx.exec(chosen.order_by(col(OutboxRow.created_at).desc(), col(OutboxRow.id).desc()).limit(limit)))


def read_ahead(
    tx: Session, ids: Collection[str], people: Collection[str], since: datetime
) -> list[OutboxRow]:
    """Read these messages, and the last to each of these people where it was made since an instant; says them."""
    place = func.row_number().over(
        partition_by=col(OutboxRow.person),
        order_by=(col(OutboxRow.created_at).desc(), col(OutboxRow.id).desc()),
    )
    ranked = select(OutboxRow.id, place.label("place")).where(
        col(OutboxRow.person).in_(sorted(people)),
        col(OutboxRow.state) != "dropped",
        col(OutboxRow.created_at) >= since,
    )
    newest = ranked.subquery()
    named, last = by_id(tx, ids), _last_of(tx, select(newest.c.id).where(newest.c.place == 1))
    MESSAGE.tell(tx, named)
    LAST_TO.tell(tx, {row.person: row for row in last})
    return [*named.values(), *last]


def _last_of(tx: Session, ids: Any) -> list[OutboxRow]:
    return list(tx.exec(select(OutboxRow).where(col(OutboxRow.id).in_(ids))))
