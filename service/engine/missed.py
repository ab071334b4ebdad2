"""Days that went by without the service: the record says of each that it was not looked after, and coordinator and
audiologist hear of all of them in one message (C13).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from service.core.chains import Purpose
from service.core.days import SchoolDay
from service.core.district import Role
from service.core.routines import rounds as rounds_of
from service.engine import letters
from service.engine.desk import Desk, Moment, stream_of
from service.engine.posting import Parcel, post
from service.engine.stumbling import AGAIN
from service.store import marks
from service.wording import compose
from service.wording import letters as wording

TOLD = (Role.COORDINATOR, Role.AUDIOLOGIST)

DAYS_AT_MOST = 366
"""So far back it is looked for days that nobody planned."""

KIND = "missed days"
_PLANNED = "planned/"
_MISSED = "missed/"


@dataclass(frozen=True)
class Missed:
    """What a missed day of a school left: checks without an answer, checks that were not asked. `cause` is what the
    record calls its end, or the gap.
    """

    school: str
    date: date
    unanswered: int
    not_asked: int
    cause: str

    @property
    def key(self) -> str:
        """The mark under which it waits to be told."""
        return f"{_MISSED}{self.school}/{self.date.isoformat()}"


def planned_through(m: Moment, school: str, first: date, last: date) -> None:
    """Take down that the days of a school from `first` to `last` are planned. School days between these and what was
    planned before that are over by now were planned by nobody: the record gets an entry for each.
    """
    known = marks.get(m.tx, _PLANNED + school)
    today = m.today(school)
    before = date.fromisoformat(known.body["through"]) if known is not None else None
    if before is not None:
        since = max(before, min(first, today) - timedelta(days=DAYS_AT_MOST))
        for days in range(1, (min(first, today) - since).days):
            _look_back(m, school, since + timedelta(days=days))
    through = min(last, today + timedelta(days=1))
    if before is None or through > before:
        marks.set(m.tx, _PLANNED + school, None, {"through": through.isoformat()})


def drop(m: Moment, school: str) -> None:
    """Forget what was planned and missed of a school that leaves the configuration."""
    marks.drop(m.tx, _PLANNED + school)
    marks.drop_under(m.tx, f"{_MISSED}{school}/")


def _look_back(m: Moment, school: str, on: date) -> None:
    day = m.day(school, on)
    checks = sum(len(r.checks) for r in rounds_of(m.district, day, m.notices))
    if isinstance(day, SchoolDay) and checks:
        id = f"gap-{school}-{on.isoformat()}"
        m.note(stream_of(school, on), "not planned", id, result="not asked", reason="service down", checks=checks)
        keep(m, Missed(school, on, 0, checks, id))


def keep(m: Moment, missed: Missed) -> None:
    """Have a missed day told with the others that are found until the grace after a restart is over."""
    body = {"unanswered": missed.unanswered, "not asked": missed.not_asked, "cause": missed.cause}
    marks.set(m.tx, missed.key, m.now + m.district.settings.restart_grace, body)


def next_due(m: Moment) -> datetime | None:
    """When the missed days are to be told."""
    return marks.next_due(m.tx, _MISSED)


def tell(desk: Desk, now: datetime) -> int:
    """Tell of all missed days that are known; says how many there were."""
    with desk.moment(now) as m:
        found = [(mark.key, mark.body) for mark in marks.with_prefix(m.tx, _MISSED)]
        days = [_missed(key, body) for key, body in found if marks.drop(m.tx, key)]
        known = [each for each in days if each.school in m.district.schools]
        people = {p.id: p for s in _schools(known) for role in TOLD for p in m.district.holders(role, s)}
        for person in sorted(people):
            _tell(m, person, known)
        return len(days)


def postpone(m: Moment) -> None:
    """Try again a little later."""
    for mark in marks.with_prefix(m.tx, _MISSED):
        marks.set(m.tx, mark.key, m.now + AGAIN, mark.body)


def _missed(key: str, body: Mapping[str, object]) -> Missed:
    school, _, on = key.removeprefix(_MISSED).rpartition("/")
    unanswered, not_asked = int(str(body["unanswered"])), int(str(body["not asked"]))
    return Missed(school, date.fromisoformat(on), unanswered, not_asked, str(body["cause"]))


def _schools(days: Iterable[Missed]) -> list[str]:
    return sorted({each.school for each in days})


def _tell(m: Moment, id: str, known: Iterable[Missed]) -> None:
    person = m.district.people[id]
    own = [e for e in known if any(p.id == id for r in TOLD for p in m.district.holders(r, e.school))]
    role = next(r for r in TOLD if any(p.id == id for p in m.district.holders(r, own[0].school)))
    counts = [
        wording.SchoolCount(
            m.school(school).name,
            sum(each.unanswered for each in own if each.school == school),
            sum(each.not_asked for each in own if each.school == school),
        )
        for school in _schools(own)
    ]
    dates = tuple(sorted({each.date for each in own}))
    letter = wording.DaysMissed(letters.reader_of(m, person, role), dates, tuple(counts))
    post(
        m,
        Parcel(
            key=f"{own[0].key}/{id}",
            person=id,
            role=role.value,
            purpose=Purpose.CHAIN_END,
            written=compose(letter, person.language),
            cause=tuple(each.cause for each in own),
        ),
    )
