"""Empties trays: what waits for one person goes as one message when it need wait no longer (C5).

Locks are taken in one order, chase, person, journal stream: a tray is emptied under the locks of the chases
it speaks for and then of its person.
"""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from functools import partial

from service.core.chains import Posted, Purpose
from service.engine import chaser, holding, letters
from service.engine.desk import Desk, Moment, stream_of
from service.engine.loading import load
from service.engine.posting import Parcel, post
from service.engine.roles import main_role
from service.engine.stumbling import AGAIN, guarded
from service.engine.trays import NO_STEP, not_before_of
from service.store import chases, outbox, tray
from service.store.tables import ChaseRow, TrayRow


def empty_due(desk: Desk, now: datetime) -> int:
    """Empty every tray that holds something which need wait no longer; says how many messages were made."""
    with desk.moment(now) as m:
        people = tray.people_due(m.tx, m.now)
    return sum(
        guarded(desk, now, f"tray {person}", partial(_emptied, desk, now, person), partial(_postpone, person))
        for person in people
    )


def _emptied(desk: Desk, now: datetime, person: str) -> int:
    with desk.moment(now) as m:
        return _empty(m, person)


def _postpone(person: str, m: Moment) -> None:
    for row in tray.waiting(m.tx, person):
        row.not_before = max(row.not_before, m.now + AGAIN)
        m.tx.add(row)


def _empty(m: Moment, person: str) -> int:
    seen = tray.waiting(m.tx, person)
    holding.some(m, [row.chase_id for row in seen])
    locked = chases.locked(m.tx, {row.chase_id for row in seen})
    last = tray.lock_person(m.tx, person).last_at
    rows = [row for row in tray.waiting(m.tx, person) if locked.get(row.chase_id)]
    for row in rows:
        _wait_on(m, row, last)
    if not any(row.not_before <= m.now for row in rows):
        return 0
    groups: dict[tuple[str, ...], list[TrayRow]] = {}
    for row in rows:
        groups.setdefault(tuple(row.body.get("channels", ())), []).append(row)
    for group in groups.values():
        _send_together(m, person, group, locked)
    for row in rows:
        held = locked[row.chase_id]
        if row.step != NO_STEP and held is not None:
            chaser.apply(m, held, Posted(person), [row.outbox_id or row.key])
    return len(groups)


def _wait_on(m: Moment, row: TrayRow, last: datetime | None) -> None:
    """A message that left since this was laid moves its window, within bounds."""
    laid = datetime.fromisoformat(row.body["laid"])
    later = not_before_of(m, last, row.urgency, laid)
    if later > row.not_before:
        row.not_before = later
        m.tx.add(row)


def _send_together(m: Moment, person: str, rows: Sequence[TrayRow], locked: Mapping[str, ChaseRow]) -> None:
    written = letters.write(m, person, rows)
    key = _key(rows)
    purpose = _weightiest(rows)
    weighty = {r.chase_id for r in rows if r.purpose == purpose.value}
    about = locked[rows[0].chase_id]
    sent = post(
        m,
        Parcel(
            key=key,
            person=person,
            role=rows[0].role if len({r.role for r in rows}) == 1 else main_role(m, person),
            purpose=purpose,
            written=written.written,
            items=written.items,
            chases=tuple(dict.fromkeys(r.chase_id for r in rows)),
            channels=tuple(rows[0].body.get("channels", ())),
            give_up_at=_give_up(m, [locked[r.chase_id] for r in rows]),
            after=outbox.unfinished_about(m.tx, person, {r.chase_id for r in rows}),
            cause=tuple(dict.fromkeys(c for r in rows for c in r.body["cause"])),
            stream=stream_of(about.school, about.date),
            round=next((i.round for i in written.items if i.round and i.chase in weighty), None),
        ),
    )
    for row in rows:
        row.outbox_id = sent
        m.tx.add(row)


def _key(rows: Sequence[TrayRow]) -> str:
    """C17: from chase, step, purpose and generation, never from chance."""
    keys = sorted(row.key for row in rows)
    if len(keys) == 1:
        return keys[0]
    return f"{keys[0]}+{len(keys) - 1}:{hashlib.sha256('|'.join(keys).encode()).hexdigest()[:12]}"


WEIGHT = (
    Purpose.CAUTION,
    Purpose.ALERT,
    Purpose.SECOND,
    Purpose.CHAIN_END,
    Purpose.QUESTION,
    Purpose.PROMPT,
    Purpose.REMINDER,
    Purpose.PROMISE,
    Purpose.NO_CHECK,
    Purpose.NEWS,
    Purpose.ANSWER,
)


def _weightiest(rows: Iterable[TrayRow]) -> Purpose:
    held = {Purpose(row.purpose) for row in rows}
    return next(p for p in WEIGHT if p in held)


def _give_up(m: Moment, spoken_for: Iterable[ChaseRow]) -> datetime:
    """Until when trying to send still helps: as long as the contact's turn lasts."""
    turns_end = [load(row).next_due for row in spoken_for]
    limits = [due for due in turns_end if due is not None and due > m.now]
    return max(limits, default=m.now + timedelta(hours=2))
