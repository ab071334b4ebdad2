"""From when on somebody must have been asked at a school: told by calendar and routines alone.

Nothing of the plan is used here, so that what plans wrongly, or not at all, is found by something else.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta

from service.core.days import NoSchool, SchoolDay, bell, clock
from service.core.district import District, Routine, Student
from service.core.notices import Notice, away_on

EARLIEST = timedelta(minutes=60)
"""How long before the first bell a check may be due."""


def asked_from(district: District, day: SchoolDay | NoSchool, notices: Sequence[Notice]) -> datetime | None:
    """The instant at which the first check of a school's day is due; None where none is.

    Students who are away count no more than routines whose bell does not ring, or rings when nobody is there.
    """
    if isinstance(day, NoSchool):
        return None
    present = (s for s in district.students_of.get(day.school, ()) if not _is_away(s, day, notices, district))
    return min(_dues(present, day), default=None)


def _is_away(student: Student, day: SchoolDay, notices: Sequence[Notice], district: District) -> bool:
    about = [n for n in notices if n.subject == student.id]
    return bool(about) and away_on(student.id, day.date, about, district, day.school)


def _dues(students: Iterable[Student], day: SchoolDay) -> Iterator[datetime]:
    for student in students:
        for routine in student.routines:
            due = _due(routine, day)
            if due is not None and day.first - EARLIEST <= due < day.last:
                yield due


def _due(routine: Routine, day: SchoolDay) -> datetime | None:
    if routine.weekdays and day.date.isoweekday() not in routine.weekdays:
        return None
    if routine.cycle_days and day.cycle_day not in routine.cycle_days:
        return None
    when = routine.when
    if when.at is not None:
        return clock(day, when.at)
    rings = bell(day, when.bell, when.edge, when.variant) if when.bell else None
    return rings + when.offset if rings is not None else None
