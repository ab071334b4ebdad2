"""Before a term each checker confirms or corrects whom they check, in which room, with which devices.

The message goes once a term and person; the answer is a press on the standing page. A correction changes
nothing by itself: the coordinator reads it and changes the folder.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from service.core.chains import Purpose
from service.core.district import Role, Span, Student
from service.engine.desk import Desk, Moment
from service.engine.letters import reader_of
from service.engine.posting import Parcel, post
from service.languages import N_, dated, phrase, speaking
from service.store import marks
from service.wording import compose
from service.wording.letters import Item, Roster
from service.wording.names import device_words

LONGEST = 1000
"""Characters kept of a correction."""


@dataclass(frozen=True)
class Charge:
    """One student in somebody's care, as the plan has it."""

    alias: str
    room: str
    devices: str


@dataclass(frozen=True)
class Asked:
    """What a checker was asked to confirm. `right` None: not answered; `words` what is different."""

    key: str
    person: str
    school: str
    term: str
    first: date
    charges: tuple[Charge, ...]
    right: bool | None = None
    words: str = ""


def ask_all(desk: Desk) -> int:
    """Ask every checker of every school whose term begins soon; says how many were asked now."""
    return sum(each_school(desk))


def each_school(desk: Desk) -> Iterator[int]:
    """The same school after school, a transaction each, for those whose term begins soon."""
    with desk.glance() as m:
        soon = [school for school in m.district.schools if _soon(m, school)]
    for school in soon:
        with desk.moment() as m:
            terms = _soon(m, school) if school in m.district.schools else []
            asked = sum(_ask_one(m, school, term, person) for term in terms for person in _checkers(m, school))
        yield asked


def _soon(m: Moment, school: str) -> list[Span]:
    """The terms of a school that begin so soon that checkers are asked."""
    lead, today = m.district.settings.confirm_before, m.today(school)
    return [term for term in m.school(school).terms if today < term.first <= today + lead]


def _ask_one(m: Moment, school: str, term: Span, person: str) -> int:
    key = f"roster/{person}/{school}/{term.first.isoformat()}"
    if marks.get(m.tx, key) is not None:
        return 0
    with speaking(m.district.people[person].language):
        letter = _letter(m, school, term, person)
    written = compose(letter, m.district.people[person].language)
    post(m, Parcel(key, person, Role.CHECKER.value, Purpose.QUESTION, written, cause=(key,)))
    marks.set(m.tx, key, None, {"term": term.name})
    m.note("roster", "roster", key, [], None, asked=person)
    return 1


def _letter(m: Moment, school: str, term: Span, person: str) -> Roster:
    to = reader_of(m, m.district.people[person], Role.CHECKER)
    items = tuple(
        Item(n, s.alias, device=device_words(s.devices), side=phrase("room %(room)s", room=s.room))
        for n, s in enumerate(charges_of(m, school, person), start=1)
    )
    return Roster(to, items, m.school(school).name, term.name, dated(term.first, N_("EEEE dd MMMM")))


def _checkers(m: Moment, school: str) -> list[str]:
    return sorted({r.checker for s in m.district.students_of.get(school, ()) for r in s.routines})


def charges_of(m: Moment, school: str, person: str) -> list[Student]:
    """The students of a school whom a person checks, by room and alias."""
    held = m.district.students_of.get(school, ())
    mine = [s for s in held if any(r.checker == person for r in s.routines)]
    return sorted(mine, key=lambda s: (s.room, s.alias))


def asked_of(m: Moment, person: str | None = None) -> list[Asked]:
    """What was asked, of one person or of all, for terms that have not ended."""
    found = marks.with_prefix(m.tx, f"roster/{person}/" if person else "roster/")
    listed = [_asked(m, mark.key, mark.body) for mark in found]
    return [asked for asked in listed if asked is not None]


def _asked(m: Moment, key: str, body: dict[str, object]) -> Asked | None:
    _, person, school, first = key.split("/")
    begins = date.fromisoformat(first)
    held = m.district.schools.get(school)
    term = next((t for t in held.terms if t.first == begins), None) if held else None
    if term is None or person not in m.district.people or term.last < m.today(school):
        return None
    charges = tuple(Charge(s.alias, s.room, device_words(s.devices)) for s in charges_of(m, school, person))
    right = body.get("right")
    name = held.name if held else school
    return Asked(
        key,
        person,
        name,
        term.name,
        begins,
        charges,
        right if isinstance(right, bool) else None,
        str(body.get("words", "")),
    )


def answer(desk: Desk, person: str, key: str, right: bool, words: str = "") -> bool:
    """Record a checker's answer; False where they were not asked that. A later answer takes the earlier's place."""
    with desk.moment() as m:
        mark = marks.get(m.tx, key)
        if mark is None or not key.startswith(f"roster/{person}/"):
            return False
        kept = words.strip()[:LONGEST]
        marks.set(m.tx, key, None, {**mark.body, "right": right, "words": kept})
        m.note("roster", "roster", key, [], person, right=right)
        return True
