"""Looked at on each school morning: a shelf that has run low is told of once, to whoever keeps it.

What was told is remembered in marks (`low/SCHOOL/SHELF`, with the count it rested upon) until the shelf was counted
again and is full; the journal has an entry for each change of that.
"""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from service.core.chains import Purpose
from service.core.days import NoSchool, SchoolDay
from service.core.district import Person, Role
from service.core.supplies.items import Counted, Shelf
from service.core.supplies.low import newly_low
from service.engine.desk import Desk, Moment, stream_of
from service.engine.letters import place_of, reader_of
from service.engine.posting import Parcel, post
from service.engine.roles import main_role_at
from service.engine.supplies import Stand, shelves_of, stands
from service.store import marks
from service.store.tables import ServiceMark
from service.wording import compose
from service.wording.letters import LowShelf, LowShelves
from service.wording.supplies import day_words, item_words

WHAT = "shelves"
"""What a mark of a school's day is for that stands for the look at its shelves."""

AT_ONCE = 8
"""Schools looked at in one pass: prompts that fall due at the same bell do not wait for all of them."""

_TOLD = "low/"


def mark(m: Moment, school: str, on: date, day: SchoolDay | NoSchool) -> None:
    """Have the shelves of a school looked at by its first bell of a date, where it has any and there is school."""
    if isinstance(day, SchoolDay) and m.now < day.last and shelves_of(m, school):
        marks.set(m.tx, _key(school, on), day.first, {"school": school, "date": on.isoformat(), "what": WHAT})
    else:
        drop(m, school, on)


def drop(m: Moment, school: str, on: date) -> None:
    """Look at no shelves of a school on a date."""
    marks.drop(m.tx, _key(school, on))


def _key(school: str, on: date) -> str:
    return f"day/{school}/{on.isoformat()}/{WHAT}"


def look(desk: Desk, now: datetime, key: str, body: Mapping[str, Any]) -> int:
    """Look at the shelves of a school; nothing where another instance was quicker."""
    with desk.moment(now) as m:
        if not marks.drop(m.tx, key):
            return 0
        _look(m, body["school"], date.fromisoformat(body["date"]))
    return 1


def _look(m: Moment, school: str, on: date) -> None:
    found = {stand.shelf.id: stand for stand in stands(m, school)}
    low = {id for id, stand in found.items() if stand.order.count}
    before = {mark.key.removeprefix(f"{_TOLD}{school}/"): mark.body for mark in _told(m, school)}
    again = {id for id, body in before.items() if id not in found or body["count"] != _count_of(found[id].counted)}
    new, told = newly_low(low, before.keys(), again)
    for id in sorted(before.keys() - told):
        marks.drop(m.tx, f"{_TOLD}{school}/{id}")
    for id in sorted(new):
        marks.set(m.tx, f"{_TOLD}{school}/{id}", m.now, {"count": _count_of(found[id].counted)})
    if new or before.keys() - told:
        cause = f"shelves-{school}-{on.isoformat()}"
        m.note(stream_of(school, on), "shelves", cause, low=sorted(new), full=sorted(before.keys() - told))
        _tell(m, school, on, [found[id] for id in sorted(new)], cause)


def _told(m: Moment, school: str) -> list[ServiceMark]:
    return marks.with_prefix(m.tx, f"{_TOLD}{school}/")


def _count_of(counted: Counted) -> str:
    """What tells one count of a shelf from another."""
    return counted.at.isoformat() if counted.at else counted.on.isoformat()


def keepers(m: Moment, shelf: Shelf) -> list[str]:
    """Who keeps a shelf and is told of it."""
    school = shelf.counted.place.school
    named = [id for id in shelf.keepers if id in m.district.people]
    return named or [person.id for person in m.district.holders(Role.COORDINATOR, school)]


def _tell(m: Moment, school: str, on: date, low: Sequence[Stand], cause: str) -> None:
    people = dict.fromkeys(person for stand in low for person in keepers(m, stand.shelf))
    for id in people:
        own = [stand for stand in low if id in keepers(m, stand.shelf)]
        _post(m, school, on, m.district.people[id], own, cause)


def _post(m: Moment, school: str, on: date, person: Person, low: Sequence[Stand], cause: str) -> None:
    role = main_role_at(m, person.id, school)
    with m.read_by(person.id):
        letter = LowShelves(reader_of(m, person, role), tuple(line(m, stand) for stand in low))
    post(
        m,
        Parcel(
            key=f"low/{school}/{on.isoformat()}/{'+'.join(s.shelf.id for s in low)}/{person.id}",
            person=person.id,
            role=role.value,
            purpose=Purpose.NEWS,
            written=compose(letter, person.language),
            cause=(cause,),
            stream=stream_of(school, on),
        ),
    )


def line(m: Moment, stand: Stand) -> LowShelf:
    """A shelf as it is told of, in the language spoken."""
    place = stand.shelf.counted.place
    users = [m.district.students[id] for id in stand.shelf.students if id in m.district.students]
    likely = stand.empty.likely or stand.empty.early
    return LowShelf(
        place=place_of(m, users, place.school),
        own_of=next((s.alias for s in users), "") if place.owner else "",
        what=item_words(stand.shelf.counted.item),
        left=stand.on_hand,
        by=day_words(likely, m.today(place.school)) if likely else "",
        order=stand.order.count,
    )
