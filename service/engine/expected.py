"""A morning without rounds that should have had some: found from calendar and routines, not from what was planned.

Whatever the reason: nobody planned, nobody asked, or nobody could be asked any more.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from service.core.days import SchoolDay, school_day
from service.core.district import School
from service.core.expected import EARLIEST, asked_from
from service.core.reading import Result
from service.core.zones import zone
from service.engine.desk import Ground, Moment, NotSetUp
from service.store import configuration, rounds

PATIENCE = timedelta(minutes=5)
"""So long after the first check of a school was due somebody must have been asked; a prompt leaves within four."""

ASKED = (Result.WORKING, Result.FIXED, Result.FAULT, Result.AWAY, Result.NOT_DONE, Result.UNANSWERED)
"""Results of checks that somebody was asked about, or told of unasked."""


@dataclass(frozen=True)
class Missing:
    """A school at which nobody was asked today, though the first check has been due since an instant."""

    school: str
    date: date
    since: datetime

    def __str__(self) -> str:
        return f"nobody was asked at {self.school} today, though the first check was due at {self.since:%H:%M} UTC"


def missing(m: Moment) -> tuple[Missing, ...]:
    """The schools at which nobody was asked by now and somebody should have been; none before anything is set up.

    A school counts from the first day that began after its entry was put into force.
    """
    try:
        schools = m.desk.schools(m.tx)
    except NotSetUp:
        return ()
    version = configuration.version(m.tx)
    found = (_missing(m, school, version) for school in schools.values())
    return tuple(each for each in found if each is not None)


def _missing(m: Moment, school: School, version: int) -> Missing | None:
    today = m.now.astimezone(zone(school.zone)).date()
    day = school_day(school, today, m.notices)
    if not isinstance(day, SchoolDay) or not day.first - EARLIEST + PATIENCE <= m.now < day.last:
        return None
    ground = (version, today, *(notice.id for notice in m.notices))
    since = _due(m, day, ground)
    if since is None or since + PATIENCE > m.now:
        return None
    known = configuration.applied_at(m.tx, "schools", school.id)
    return Missing(school.id, today, since) if known is not None and known < since else None


def _due(m: Moment, day: SchoolDay, ground: Ground) -> datetime | None:
    """When the first check of the day is due, unless somebody was asked already. Neither is worked out twice, as long
    as it rests upon the same; and people and students are read for it only where nobody was asked.
    """
    known = m.desk.awaited.get(day.school)
    if known is None or known[0] != ground:
        asked = rounds.is_under_way(m.tx, day.school, day.date, ASKED)
        since = None if asked else asked_from(m.district, day, m.notices)
    elif known[1] is not None and known[1] + PATIENCE <= m.now:
        since = None if rounds.is_under_way(m.tx, day.school, day.date, ASKED) else known[1]
    else:
        since = known[1]
    m.desk.awaited[day.school] = (ground, since)
    return since
