"""Empties trays: what waits for one person goes as one message when it need wait no longer (C5).

Locks are taken in one order, chase, person, journal stream: a tray is emptied under the locks of the chases
it speaks for and then of its person.
"""

import hashlib
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

from service.core.chains import Chase, Posted, Purpose
from service.engine import chaser, holding, letters
from service.engine.desk import Desk, Moment, stream_of
from service.engine.loading import load
from service.engine.posting import Parcel, message_id, post_all
from service.engine.roles import main_role
from service.engine.stumbling import AGAIN, OURS, guarded
from service.engine.trays import NO_STEP, not_before_of
from service.store import chases, outbox, tray
from service.store.batches import change
from service.store.tables import CheckRow, RoundRow
from service.store.tray import Lying

BATCH = 300
"""Things told in one transaction, as many people's as they are."""


def empty_due(desk: Desk, now: datetime) -> int:
    """Empty every tray that holds something which need wait no longer; says how many messages were made."""
    with desk.moment(now) as m:
        due = tray.people_due(m.tx, m.now)
    return sum(_batch(desk, now, people) for people in _batches(due))


def _batches(due: Mapping[str, int]) -> Iterator[list[str]]:
    """The people in lots of about as many things each."""
    people: list[str] = []
    held = 0
    for person, things in due.items():
        people.append(person)
        held += things
        if held >= BATCH:
            yield people
            people, held = [], 0
    if people:
        yield people


def _batch(desk: Desk, now: datetime, people: Sequence[str]) -> int:
    try:
        return _emptied(desk, now, people)
    except OURS:
        raise
    except Exception:
        return _one_by_one(desk, now, people)


def _one_by_one(desk: Desk, now: datetime, people: Iterable[str]) -> int:
    """One of them fails: each by itself, so that the others are told."""
    return sum(
        guarded(desk, now, f"tray {person}", partial(_emptied, desk, now, [person]), partial(_postpone, person))
        for person in people
    )


def _emptied(desk: Desk, now: datetime, people: Sequence[str]) -> int:
    with desk.moment(now) as m:
        return _empty(m, people)


def _postpone(person: str, m: Moment) -> None:
    for row in tray.waiting(m.tx, person):
        change(m.tx, row, not_before=max(row.not_before, m.now + AGAIN))


def _empty(m: Moment, people: Sequence[str]) -> int:
    wanted = _unheld(m, people)
    locked = chases.locked(m.tx, {id for ids in wanted.values() for id in ids})
    last = {person: row.last_at for person, row in tray.lock_people(m.tx, list(wanted)).items()}
    held = tray.lying(m.tx, list(wanted))
    going = _all_going(m, {person: held.get(person, ()) for person in wanted}, last, locked)
    everything = [row for rows in going.values() for row in rows]
    papers = letters.papers_of(m, {id: load(row) for id, row in locked.items()}, everything)
    sent = _tell(m, going, papers, outbox.unfinished(m.tx, {row.chase_id for row in everything}))
    for row in everything:
        if row.step != NO_STEP:
            chaser.apply(m, locked[row.chase_id], Posted(row.person), [row.outbox_id or row.key])
    return sent


def tell_asked(m: Moment, people: Collection[str], asked: Sequence[RoundRow], checks: Iterable[CheckRow]) -> None:
    """Empty the trays of people for whom nothing waits but what was laid there in this moment: the prompts of the
    rounds that were asked in it. Who is also told of a chase that went on meanwhile is told of all of it as any other.
    """
    held = {
        person: rows
        for person in sorted(people)
        if (rows := m.fresh.get(person)) and all(row.chase_id in m.begun for row in rows)
    }
    own = {id: chase for id, (chase, _) in m.begun.items()}
    # What was laid is held back until it is known how it went out: nothing that is read here depends on it.
    with m.tx.no_autoflush:
        last = {person: row.last_at for person, row in tray.lock_people(m.tx, list(held)).items()}
        going = _all_going(m, held, last, own)
        everything = [row for rows in going.values() for row in rows]
        papers = letters.papers_at_hand(m, own, everything, {row.id: row for row in asked}, checks)
        _tell(m, going, papers, [])
    for row in everything:
        if row.step != NO_STEP:
            chaser.posted_at_once(m, row.chase_id, row.person, [row.outbox_id or row.key])


def _tell(
    m: Moment, going: Mapping[str, Sequence[Lying]], papers: letters.Papers, on_their_way: list[outbox.OnItsWay]
) -> int:
    """Make messages of all that goes; says how many."""
    bundles = [_bundle(m, person, rows, papers, on_their_way) for person, rows in going.items()]
    _send(m, [bundle for own in bundles for bundle in own])
    return sum(len(own) for own in bundles)


def _unheld(m: Moment, people: Collection[str]) -> dict[str, frozenset[str]]:
    """Those of these people for whom something waits, with the chases it is about, unless another instance holds
    one of these: it may be emptying the same tray, so it tells that person, and we go on with the next.
    """
    wanted = tray.chases_for(m.tx, people)
    others = holding.all_but_held(m, {id for ids in wanted.values() for id in ids})
    return {person: ids for person, ids in wanted.items() if not others & ids}


def _all_going(
    m: Moment,
    held: Mapping[str, Sequence[Lying]],
    last: Mapping[str, datetime | None],
    ours: Collection[str],
) -> dict[str, list[Lying]]:
    """What goes to each person now; no key for those to whom nothing goes. `ours` are the chases that we hold."""
    found = {person: _going(m, last[person], rows, ours) for person, rows in held.items()}
    return {person: rows for person, rows in found.items() if rows}


def _going(m: Moment, last: datetime | None, rows: Iterable[Lying], ours: Collection[str]) -> list[Lying]:
    """What goes to one person now: everything that waits, as soon as one thing need wait no longer."""
    held = [row for row in rows if row.chase_id in ours]
    for row in held:
        _wait_on(m, row, last)
    return held if any(row.not_before <= m.now for row in held) else []


def _wait_on(m: Moment, row: Lying, last: datetime | None) -> None:
    """A message that left since this was laid moves its window, within bounds."""
    laid = datetime.fromisoformat(row.body["laid"])
    later = not_before_of(m, last, row.urgency, laid)
    if later > row.not_before:
        tray.wait(m.tx, row, later)


@dataclass(frozen=True)
class Bundle:
    """Things that go to one person the same way, and the message they make."""

    rows: Sequence[Lying]
    parcel: Parcel


def _bundle(
    m: Moment, person: str, rows: Sequence[Lying], papers: letters.Papers, known: list[outbox.OnItsWay]
) -> list[Bundle]:
    groups: dict[tuple[str, ...], list[Lying]] = {}
    for row in rows:
        groups.setdefault(tuple(row.body.get("channels", ())), []).append(row)
    made = []
    for group in groups.values():
        made.append(Bundle(group, _parcel(m, person, group, papers, known)))
        known += [outbox.OnItsWay(row.chase_id, person, message_id(made[-1].parcel.key)) for row in group]
    return made


def _send(m: Moment, bundles: Sequence[Bundle]) -> None:
    ids = post_all(m, [bundle.parcel for bundle in bundles])
    for bundle, id in zip(bundles, ids, strict=True):
        for row in bundle.rows:
            tray.sent(m.tx, row, id)
            if row.step != NO_STEP:
                m.going.append((row.due_at, datetime.fromisoformat(row.body["laid"]), row.not_before))


def _parcel(
    m: Moment,
    person: str,
    rows: Sequence[Lying],
    papers: letters.Papers,
    known: Sequence[outbox.OnItsWay],
) -> Parcel:
    written = letters.write(m, person, rows, papers)
    purpose = _weightiest(rows)
    weighty = {r.chase_id for r in rows if r.purpose == purpose.value}
    spoken_for = tuple(dict.fromkeys(r.chase_id for r in rows))
    about = papers.chases[rows[0].chase_id]
    return Parcel(
        key=_key(rows),
        person=person,
        role=rows[0].role if len({r.role for r in rows}) == 1 else main_role(m, person),
        purpose=purpose,
        written=written.written,
        items=written.items,
        chases=spoken_for,
        channels=tuple(rows[0].body.get("channels", ())),
        give_up_at=_give_up(m, [papers.chases[id] for id in spoken_for]),
        after=outbox.last_of(known, person, spoken_for),
        cause=tuple(dict.fromkeys(c for r in rows for c in r.body["cause"])),
        stream=stream_of(about.school, about.date),
        round=next((i.round for i in written.items if i.round and i.chase in weighty), None),
    )


def _key(rows: Sequence[Lying]) -> str:
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


def _weightiest(rows: Iterable[Lying]) -> Purpose:
    held = {Purpose(row.purpose) for row in rows}
    return next(p for p in WEIGHT if p in held)


def _give_up(m: Moment, spoken_for: Iterable[Chase]) -> datetime:
    """Until when trying to send still helps: as long as the contact's turn lasts."""
    turns_end = [chase.next_due for chase in spoken_for]
    limits = [due for due in turns_end if due is not None and due > m.now]
    return max(limits, default=m.now + timedelta(hours=2))
