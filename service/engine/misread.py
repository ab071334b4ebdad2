"""Words that were misread twice in a row: somebody was asked back, answered, and had to be asked back again.

The coordinators of the school hear so once, with a link to the words as typed. The link opens a page that shows
nothing yet; who presses there reads the words, and the journal keeps who read them and when.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from service.core.chains import Purpose
from service.core.district import Role
from service.engine import doors, letters
from service.engine.answering import Heard
from service.engine.context import OPEN_FOR, Context, stream_for
from service.engine.desk import Desk, Moment, stream_of
from service.engine.posting import Parcel
from service.engine.roles import home, main_role_at
from service.languages import speaking
from service.store import inbox, journal, rounds
from service.store.tables import InboxRow
from service.wording import compose
from service.wording import letters as wording
from service.wording.names import role_words

LOOKED = "looked"
"""The kind of entry that tells of somebody who read words as they were typed."""


@dataclass(frozen=True)
class Line:
    """Something somebody did at a time by the school's clock: `what` they typed, or the role in which they read it."""

    at: str
    what: str


@dataclass(frozen=True)
class Typed:
    """The page behind the link, without the words: whose they are, where, when first, and who has read them."""

    role: str
    place: str
    at: str
    seen: tuple[Line, ...]
    language: str


def first_of(m: Moment, row: InboxRow, heard: Heard) -> str | None:
    """The id of the first of the messages in a row that we asked back about, this one included; None where it is
    clear, or the first.
    """
    if not heard.puzzled or heard.recorded:
        return None
    before = next(iter(inbox.recent_of(m.tx, str(row.person), row.id, 1)), None)
    if before is None or not before.body.get("unclear") or m.now - before.received_at > OPEN_FOR:
        return None
    return str(before.body.get("first", before.id))


def parcels(m: Moment, row: InboxRow, context: Context | None, first: str, cause: Sequence[str]) -> list[Parcel]:
    """What the coordinators are told, once for all of those messages."""
    began = inbox.get(m.tx, first)
    school = context.school if context else home(m, str(row.person))
    people = [id for id in m.district.coordinators(school) if id != row.person]
    return [_parcel(m, row, began, context, school, id, cause) for id in people] if began else []


def _parcel(
    m: Moment,
    row: InboxRow,
    began: InboxRow,
    context: Context | None,
    school: str,
    person: str,
    cause: Sequence[str],
) -> Parcel:
    reader = m.district.people[person]
    checks = list(context.numbers.values()) if context else []
    with m.read_by(person):
        letter = wording.Misread(
            letters.reader_of(m, reader, Role.COORDINATOR),
            m.school(school).name,
            letters.place_of(m, checks, school),
            main_role_at(m, str(row.person), school),
            m.wall(school, began.received_at, m.today(school)),
            m.wall(school, row.received_at, m.today(school)),
        )
    return Parcel(
        key=f"misread/{began.id}/{person}",
        person=person,
        role=Role.COORDINATOR.value,
        purpose=Purpose.CHAIN_END,
        written=compose(letter, reader.language),
        cause=tuple(cause),
        about={"typed": began.id},
        stream=stream_for(m, context),
    )


def typed(m: Moment, id: str, person: str) -> Typed:
    """The page as it is before anybody presses."""
    with speaking(m.district.people[person].language):
        row = _row(m, id)
        school, on = doors.day_of(m, row)
        asked = rounds.checks_of(m.tx, row.round_id) if row.round_id else []
        return Typed(
            role=role_words(main_role_at(m, str(row.person), school)),
            place=letters.place_of(m, asked, school),
            at=m.wall(school, row.received_at, m.today(school)),
            seen=tuple(_seen(m, id, school, on)),
            language=m.district.people[person].language,
        )


def read(desk: Desk, id: str, person: str) -> tuple[Line, ...]:
    """The words as typed, for somebody who has pressed; the journal has it before they are shown."""
    with desk.moment() as m:
        row = _row(m, id)
        school, on = doors.day_of(m, row)
        m.note(stream_of(school, on), LOOKED, f"look-{id}", [f"rg-{id}"], person, inbox=id)
        later = inbox.recent_of(m.tx, str(row.person), id)
        found = [row, *(one for one in reversed(later) if one.body.get("first") == id)]
        return tuple(Line(m.wall(school, one.received_at, m.today(school)), one.text) for one in found)


def _seen(m: Moment, id: str, school: str, on: date) -> list[Line]:
    rows = journal.rows_of_kind(m.tx, stream_of(school, on), LOOKED)
    about = [row for row in rows if row.body.get("inbox") == id and row.actor]
    today = m.today(school)
    return [Line(m.wall(school, row.at, today), role_words(main_role_at(m, str(row.actor), school))) for row in about]


def _row(m: Moment, id: str) -> InboxRow:
    row = inbox.get(m.tx, id)
    if row is None:
        raise KeyError(id)
    return row
