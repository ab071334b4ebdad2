"""Whom a silence climbs to: the chain, and the mild form of a term's first days."""

from collections.abc import Sequence
from datetime import date, timedelta

from service.core.chains import Purpose, Turn, turns_of
from service.core.days import SchoolDay, school_day
from service.core.district import Chain, District, Limit, Role, School, Student
from service.core.notices import Notice


def is_settling_in(school: School, on: date, days: int, notices: Sequence[Notice] = ()) -> bool:
    """Whether `on` is among the first `days` school days of its term."""
    term = next((t for t in school.terms if t.holds(on)), None)
    if term is None:
        return False
    school_days, day = 0, term.first
    while day <= on and school_days <= days:
        school_days += isinstance(school_day(school, day, notices), SchoolDay)
        day += timedelta(days=1)
    return school_days <= days


def silence_turns(
    district: District,
    chain: Chain,
    student: Student,
    checker: str,
    second: str | None,
    settling_in: bool,
) -> tuple[Turn, ...]:
    """The turns of a silence; while settling in, the coordinator after the checker, with no climb."""
    turns = turns_of(chain, student, checker, second, district)
    if not settling_in:
        return turns
    first = tuple(t for t in turns if t.purpose is Purpose.PROMPT)
    return (*first, Turn(Role.COORDINATOR.value, district.coordinators(student.school), Limit()))
