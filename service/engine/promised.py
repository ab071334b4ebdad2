"""A promised date that has passed: whoever holds the fault is reminded once, on the next school morning."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime
from functools import partial

from service.core.chains import Purpose
from service.core.district import Person
from service.core.road import Step, What
from service.engine import mornings, road
from service.engine.desk import Desk, Moment
from service.engine.letters import reader_of
from service.engine.posting import MESSAGES, Parcel, post
from service.engine.roles import main_role_at
from service.engine.stumbling import AGAIN, guarded
from service.languages import gettext, speaking
from service.store import faults
from service.store.tables import FaultRow
from service.wording import compose
from service.wording import letters as wording
from service.wording.names import device_words, side_words
from service.wording.road import where_words

BATCH = 200
"""Faults looked at in one pass."""


def remind_due(desk: Desk, now: datetime) -> int:
    """Remind everybody whose date has passed, each in one message; says of how many faults."""
    with desk.moment(now) as m:
        due = faults.due(m.tx, m.now, BATCH)
        whose: defaultdict[tuple[str, ...], list[str]] = defaultdict(list)
        for row in (faults.get(m.tx, id) for id in due):
            if row is not None:
                whose[tuple(p.id for p in _readers(m, row))].append(row.id)
    return sum(
        guarded(desk, now, f"dates {ids[0]}", partial(_remind, desk, now, ids), partial(_postpone, ids))
        for ids in whose.values()
    )


def _remind(desk: Desk, now: datetime, ids: Sequence[str]) -> int:
    with desk.moment(now) as m:
        found = [row for id in sorted(ids) if (row := faults.lock(m.tx, id)) and _is_due(m, row)]
        done = [row for row in found if road.happen(m, row, Step(m.now, What.REMINDED), [row.id])]
        for person in _readers(m, done[0]) if done else ():
            post(m, _parcel(m, person, done))
        return len(done)


def _is_due(m: Moment, row: FaultRow) -> bool:
    return row.closed_at is None and row.wake_at is not None and row.wake_at <= m.now


def _postpone(ids: Sequence[str], m: Moment) -> None:
    for row in (faults.lock(m.tx, id) for id in sorted(ids)):
        if row is not None:
            faults.save(m.tx, row, wake_at=m.now + AGAIN)


def _readers(m: Moment, row: FaultRow) -> Sequence[Person]:
    """Who is reminded: the holder, or the coordinators where that is nobody of the district any more."""
    holder = m.district.people.get(row.holder or "")
    if (
        holder is not None
        and not holder.outside
        and (holder.left_on is None or holder.left_on > m.now.date())
    ):
        return [holder]
    return [m.district.people[id] for id in m.district.coordinators(row.school)]


def _parcel(m: Moment, person: Person, rows: Sequence[FaultRow]) -> Parcel:
    role = main_role_at(m, person.id, rows[0].school)
    with m.read_by(person.id), speaking(person.language):
        items = tuple(_item(m, n, row) for n, row in enumerate(rows, start=1))
        letter = wording.Overdue(reader_of(m, person, role), items)
    named = "+".join(f"{row.id}@{row.promised}" for row in rows)
    return Parcel(
        key=f"overdue/{person.id}/{named}",
        person=person.id,
        role=role.value,
        purpose=Purpose.NEWS,
        written=compose(letter, person.language),
        cause=tuple(row.id for row in rows),
        stream=MESSAGES,
    )


def _item(m: Moment, number: int, row: FaultRow) -> wording.Item:
    """One fault as a line: child, device, what is wrong, since when and where it is."""
    now = road.standing(row)
    student = m.district.students.get(row.student)
    code = m.book.codes.get(row.code)
    return wording.Item(
        number=number,
        alias=student.alias if student else "",
        device=device_words(student.devices) if student else "",
        side=side_words([now.side] if now.side else []),
        code=row.code,
        label=gettext(code.label) if code else row.code,
        since=mornings.since(m, row.school, now.reported),
        asks=where_words(now.stage, now.promised),
    )
