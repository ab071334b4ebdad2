"""The weekly summary: what was recorded at severity `watch` alarms nobody and is told once, as the week ends (C5)."""

from dataclasses import replace
from datetime import date, timedelta

from service.core.chains import Purpose
from service.core.devices import severity_of
from service.core.district import Person, Role, Severity
from service.core.reading import Fault, Result
from service.core.zones import zone
from service.engine import slips
from service.engine.codec import decode
from service.engine.desk import Moment, stream_of
from service.engine.letters import item, reader_of
from service.engine.posting import ItemRef, Parcel, post
from service.engine.roles import main_role_at
from service.languages import dated, speaking
from service.store import history
from service.store.tables import CheckRow
from service.wording import compose
from service.wording.letters import Week


def tell(m: Moment, school: str, on: date) -> int:
    """Tell what was watched, if `on` is the week's last school day; says how many people were told."""
    if not _ends_the_week(m, school, on):
        return 0
    monday = on - timedelta(days=on.weekday())
    watched = [c for c in history.checks(m.tx, monday, on, school) if _is_watched(m, c)]
    people = _readers(m, school) if watched else []
    for person in people:
        _post(m, school, on, person, watched)
    return len(people)


def _ends_the_week(m: Moment, school: str, on: date) -> bool:
    following = m.scene(school, on).next_first
    if following is None:
        return True
    day = following.astimezone(zone(m.school(school).zone)).date()
    return day.isocalendar()[:2] != on.isocalendar()[:2]


def _is_watched(m: Moment, check: CheckRow) -> bool:
    if check.result != Result.FAULT.value or not check.faults:
        return False
    missed, usual = check.body.get("missed", ()), slips.usually_heard(m, check.student)
    grades = [severity_of(decode(Fault, f), m.book.codes, missed, usual) for f in check.faults]
    return all(grade is Severity.WATCH for grade in grades)


def _readers(m: Moment, school: str) -> list[Person]:
    """The first contact of the school's watch chain, else its audiologists."""
    chain = m.chain(None, school, Severity.WATCH)
    first = chain.steps[0].contact if chain and chain.steps else None
    named = m.district.people.get(first.person or "") if first else None
    if named is not None:
        return [named]
    role = first.role if first is not None and first.role not in (None, Role.GUARDIAN) else None
    return list(m.district.holders(role or Role.AUDIOLOGIST, school))


def _post(m: Moment, school: str, on: date, person: Person, watched: list[CheckRow]) -> None:
    role = main_role_at(m, person.id, school)
    with speaking(person.language):
        items = tuple(
            replace(item(m, c, n), since=dated(c.date, "EEEE")) for n, c in enumerate(watched, start=1)
        )
    letter = Week(reader_of(m, person, role), items, m.school(school).name)
    year, week, _ = on.isocalendar()
    refs = tuple(ItemRef(n, c.id, None, c.student, c.round_id) for n, c in enumerate(watched, start=1))
    post(
        m,
        Parcel(
            key=f"week/{school}/{year}-{week:02}/{person.id}",
            person=person.id,
            role=role.value,
            purpose=Purpose.NEWS,
            written=compose(letter, person.language),
            items=refs,
            cause=(f"day-{school}-{on.isoformat()}",),
            stream=stream_of(school, on),
        ),
    )
