"""Claims messages under a lease and records what became of each attempt. Sending itself is the lanes' work and
happens outside any transaction; what is decided here is synchronous: claim, drop, record.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import Any

from service.core.chains import Accepted, Failed, Purpose
from service.engine import chaser, holding
from service.engine.desk import Desk, Moment, stream_of
from service.engine.held import cautions, held
from service.engine.loading import load
from service.engine.posting import MESSAGES
from service.store import chases, outbox, rounds
from service.store.tables import ChaseRow, OutboxRow

LEASE = timedelta(seconds=60)
FIRST_RETRY = timedelta(seconds=5)
LONGEST_RETRY = timedelta(minutes=5)
BATCH = 200

BOUNCED = "bounced"
"""What became of an accepted message that came back."""

ONLY_WHILE_OPEN = (Purpose.PROMPT, Purpose.REMINDER, Purpose.SECOND, Purpose.ALERT)
"""Messages that mean nothing once every chase they speak for has ended."""


class Outcome(StrEnum):
    """What became of one attempt."""

    ACCEPTED = "accepted"
    REFUSED = "refused"
    TIMED_OUT = "timed_out"
    GONE = "gone"


@dataclass(frozen=True)
class Errand:
    """A claimed message, to be sent once now. `attempt` proves which claim an outcome belongs to; `typed` is the
    received message whose words its link opens.
    """

    id: str
    key: str
    attempt: int
    person: str
    role: str
    channel: str
    address: str
    purpose: str
    subject: str
    lock_line: str
    text: str
    thread: str | None
    in_reply_to: str | None
    round: str | None
    give_up_at: datetime | None
    claimed_at: datetime
    typed: str | None = None


@dataclass(frozen=True)
class Report:
    """What an attempt came to; `for_good`: this address will not take it; `after`: not before then."""

    outcome: Outcome
    detail: str = ""
    for_good: bool = False
    after: timedelta | None = None


def claim(
    desk: Desk,
    now: datetime,
    lease_now: datetime | None = None,
    limit: int = BATCH,
    room: outbox.Room | None = None,
) -> list[Errand]:
    """Claim what may leave now and there is `room` for, dropping what has become pointless since it was put out.

    `lease_now` is real time where the desk's clock runs fast: leases are about processes, not school days.
    While the service is held nothing leaves but the caution text to who has reported an emergency since.
    """
    clock = lease_now or now
    with desk.moment(now) as m:
        state = held(m.tx)
        only = cautions(state) if state else None
        if state is not None and only is None:
            return []
        rows = outbox.claim(m.tx, m.now, desk.owner, clock + LEASE, limit, clock, room, only)
        dropped = _drop(m, rows)
        return [_errand(row, m.now) for row in rows if row.id not in dropped]


def give_back(desk: Desk, errands: Iterable[Errand]) -> None:
    """Lay claimed messages back that were never tried, for whoever claims next."""
    with desk.moment() as m:
        outbox.give_back(m.tx, [(errand.id, errand.attempt) for errand in errands], desk.owner)


def withdrawn(desk: Desk, errands: Collection[Errand], now: datetime) -> frozenset[str]:
    """Look once more at claimed messages that have waited for their lanes: drop those that have become pointless,
    and say which.
    """
    with desk.moment(now) as m:
        rows = outbox.lock(m.tx, [errand.id for errand in errands])
        held = [row for errand in errands if (row := rows.get(errand.id)) and _is_ours(m, row, errand)]
        return _drop(m, held)


def _is_ours(m: Moment, row: OutboxRow, errand: Errand) -> bool:
    """Whether the claim still stands that the errand came with."""
    return (row.state, row.owner, row.attempts) == ("claimed", m.desk.owner, errand.attempt)


def _errand(row: OutboxRow, at: datetime) -> Errand:
    return Errand(
        row.id,
        row.key,
        row.attempts,
        row.person,
        row.role,
        row.channel,
        row.address,
        row.purpose,
        row.subject,
        row.lock_line,
        row.text,
        row.thread,
        row.in_reply_to,
        row.thread,
        row.give_up_at,
        at,
        row.body.get("about", {}).get("typed"),
    )


def _drop(m: Moment, rows: Sequence[OutboxRow]) -> frozenset[str]:
    """Drop those of our claimed messages that have become pointless; says which."""
    named = {chase for row in rows for chase in row.body.get("chases", ())}
    ended = chases.ended_of(m.tx, named)
    reasons = {row.id: reason for row in rows if (reason := _pointless(m, row, ended))}
    streams = _streams(m, [row for row in rows if row.id in reasons])
    for row in rows:
        if reason := reasons.get(row.id):
            _withheld(m, row, reason, streams[row.id])
    dropped = [outbox.Finish(r.id, "dropped", reasons[r.id], None, r.attempts) for r in rows if r.id in reasons]
    outbox.finish(m.tx, dropped, m.desk.owner, m.now)
    return frozenset(reasons)


def _pointless(m: Moment, row: OutboxRow, ended: Mapping[str, bool]) -> str | None:
    """Why a message need not leave any more: settled meanwhile, or news of an alert that never left."""
    purpose = Purpose(row.purpose)
    held = [ended[id] for id in row.body.get("chases", ()) if id in ended]
    if purpose in ONLY_WHILE_OPEN and held and all(held):
        return "settled"
    if purpose is Purpose.NEWS and row.after_id is not None:
        before = outbox.get(m.tx, row.after_id)
        unsent = before is not None and before.state in ("dropped", "refused")
        if unsent and not outbox.may_have_reached(m.tx, row.person, row.body.get("chases", ())):
            return "settled"
    return None


def leave_out(m: Moment, until: datetime, reason: str) -> int:
    """Do not send what was on its way at an instant, whoever had claimed it; says how many messages."""
    rows = outbox.unfinished_until(m.tx, until)
    streams = _streams(m, rows)
    for row in rows:
        outbox.drop(m.tx, row.id, reason, row.owner)
        _withheld(m, row, reason, streams[row.id])
    return len(rows)


def record(desk: Desk, errand: Errand, report: Report, now: datetime) -> None:
    """Record what became of an attempt, its consequences for the chases, and when to try again."""
    record_all(desk, [(errand, report)], now)


def record_all(desk: Desk, done: Sequence[tuple[Errand, Report]], now: datetime) -> None:
    """The same for many attempts in one transaction. What another has claimed meanwhile is left as it is."""
    with desk.moment(now) as m:
        ids = [errand.id for errand, _ in done]
        locked = _hold(m, outbox.by_id(m.tx, ids).values())
        rows = outbox.lock(m.tx, ids)
        streams = _streams(m, list(rows.values()))
        finished: list[outbox.Finish] = []
        for errand, report in done:
            row = rows.get(errand.id)
            if row is None or not _is_ours(m, row, errand):
                continue
            state, next_at = _state(m, row, report)
            finished.append(outbox.Finish(row.id, state, report.outcome.value, next_at, errand.attempt))
            _note(m, errand, row, report.outcome, state, streams[row.id])
            spoken_for = [locked[id] for id in sorted(row.body.get("chases", ())) if id in locked]
            _consequences(m, spoken_for, state, errand)
        outbox.finish(m.tx, finished, desk.owner, m.now)


def bounced(desk: Desk, id: str, now: datetime) -> None:
    """A message that was accepted came back: C3, as if it had been refused, while its step is the last."""
    with desk.moment(now) as m:
        row = outbox.get(m.tx, id)
        if row is not None:
            came_back(m, row, [row.id])


def came_back(m: Moment, row: OutboxRow, cause: Sequence[str], *, gone: bool = False) -> None:
    """The same within a transaction. `gone`: its address takes nothing any more, so nothing else is sent there."""
    if row.state != "accepted":
        return
    if gone:
        m.remember(f"gone/{row.person}/{row.channel}", m.now, {"address": "gone"})
    locked = _hold(m, [row])
    errand = _errand(row, m.now)
    _note(m, errand, row, BOUNCED, row.state, _streams(m, [row])[row.id])
    for _, chase in sorted(locked.items()):
        chaser.apply(m, chase, Failed(row.person), cause)


def _hold(m: Moment, rows: Iterable[OutboxRow]) -> dict[str, ChaseRow]:
    """The chases that messages speak for, locked."""
    ids = {chase for row in rows for chase in row.body.get("chases", ())}
    holding.some(m, ids)
    return chases.locked(m.tx, ids)


def _state(m: Moment, row: OutboxRow, report: Report) -> tuple[str, datetime | None]:
    """The row's next state; a retry takes the person's next way, so that a dead one costs seconds only."""
    if report.outcome is Outcome.ACCEPTED:
        return "accepted", None
    ways = [tuple(way) for way in row.body.get("ways", ())]
    here = (row.channel, row.address)
    if report.outcome is Outcome.GONE:
        m.remember(f"gone/{row.person}/{row.channel}", m.now, {"address": "gone"})
    if report.outcome is Outcome.TIMED_OUT:
        row.body = {**row.body, "unknown": True}
    if report.for_good:
        ways = [way for way in ways if way != here]
    if not ways:
        return "refused", None
    step = min(FIRST_RETRY * 2 ** (row.attempts - 1), LONGEST_RETRY)
    wait = timedelta() if report.for_good else max(step, report.after or step)
    next_at = m.now + wait
    if row.give_up_at is not None and next_at > row.give_up_at:
        return "timed_out", None
    later = ways[(ways.index(here) + 1) % len(ways)] if here in ways else ways[0]
    row.channel, row.address = later
    row.body = {**row.body, "ways": [list(way) for way in ways]}
    m.tx.add(row)
    m.tx.flush()
    return "waiting", next_at


def _consequences(m: Moment, locked: Sequence[ChaseRow], state: str, errand: Errand) -> None:
    if state == "accepted":
        for chase in locked:
            chaser.apply(m, chase, Accepted(errand.person), [errand.id])
    elif state in ("refused", "timed_out"):
        for chase in locked:
            if load(chase).current is not None:
                chaser.apply(m, chase, Failed(errand.person), [errand.id])


def _note(m: Moment, errand: Errand, row: OutboxRow, outcome: str, state: str, stream: str) -> None:
    gone = outcome == Outcome.GONE
    more: dict[str, Any] = {"gone": True} if gone else {}
    m.note(
        stream,
        "message",
        errand.id,
        row.body.get("cause", []),
        None,
        to=errand.person,
        role=errand.role,
        channel=errand.channel,
        purpose=errand.purpose,
        key=errand.key,
        rounds=row.body.get("rounds", []),
        chases=row.body.get("chases", []),
        students=row.body.get("students", []),
        attempt=errand.attempt,
        outcome=Outcome.REFUSED.value if gone else str(outcome),
        state=state,
        sent_at=errand.claimed_at.isoformat(),
        **more,
    )


def _withheld(m: Moment, row: OutboxRow, reason: str, stream: str) -> None:
    m.note(
        stream,
        "withheld",
        row.id,
        row.body.get("chases", []),
        None,
        to=row.person,
        purpose=row.purpose,
        chases=row.body.get("chases", []),
        reason=reason,
    )


def _streams(m: Moment, rows: Collection[OutboxRow]) -> dict[str, str]:
    """By message where the journal tells of it; those that an earlier version put out do not say so themselves."""
    unnamed = [row for row in rows if "stream" not in row.body]
    places = rounds.places(m.tx, {id for row in unnamed for id in row.body.get("rounds", ())})
    places |= chases.places(m.tx, {id for row in unnamed for id in row.body.get("chases", ())})
    return {row.id: _stream(row, places) for row in rows}


def _stream(row: OutboxRow, places: Mapping[str, tuple[str, date]]) -> str:
    """That of its first round or chase, else the service's own, where the message does not say."""
    if named := row.body.get("stream"):
        return str(named)
    for id in (*row.body.get("rounds", ()), *row.body.get("chases", ())):
        if id in places:
            return stream_of(*places[id])
    return MESSAGES
