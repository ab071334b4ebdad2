"""From when on somebody must have been asked: told by calendar and routines, by another way than the plan."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from service.core.days import school_day
from service.core.district import District
from service.core.expected import asked_from
from service.core.notices import Notice, NoticeKind
from service.core.routines import rounds
from service.setup import load
from tests.engine.engine_morning import at

DEMO = Path(__file__).parents[2] / "config_demo"


@pytest.fixture(scope="module")
def demo() -> District:
    loaded = load(DEMO, {})
    assert loaded.district is not None
    return loaded.district


MONDAY = date(2026, 10, 5)


def notice(kind: NoticeKind, student: str | None = None, delay: timedelta | None = None) -> Notice:
    schools = () if student else ("hollow-road",)
    return Notice("n1", kind, MONDAY, MONDAY, "c-reed", at("07:00"), schools, delay=delay, student=student)


CLOSED = notice(NoticeKind.CLOSED)
LATE = notice(NoticeKind.DELAY, delay=timedelta(hours=1))


def test_a_year_of_every_school_agrees_with_the_plan_that_is_made_in_another_way(demo: District) -> None:
    compared = 0
    for school in demo.schools.values():
        for n in range(300):
            day = school_day(school, date(2026, 8, 20) + timedelta(days=n))
            planned = [r.due for r in rounds(demo, day, ())]
            assert asked_from(demo, day, ()) == min(planned, default=None), (school.id, day.date)
            compared += bool(planned)
    assert compared > 500


@pytest.mark.parametrize(
    ("given", "wall"),
    [((), "08:05"), ((CLOSED,), None), ((LATE,), "10:05")],
    ids=["as every day", "closed", "late, by its own day type"],
)
def test_a_notice_counts(demo: District, given: tuple[Notice, ...], wall: str | None) -> None:
    day = school_day(demo.schools["hollow-road"], MONDAY, given)
    assert asked_from(demo, day, given) == (at(wall) if wall else None)


def test_a_school_all_of_whose_students_are_away_expects_nobody(demo: District) -> None:
    away = tuple(notice(NoticeKind.AWAY, s.id) for s in demo.students_of["hollow-road"])
    day = school_day(demo.schools["hollow-road"], MONDAY)
    assert asked_from(demo, day, away) is None
    assert asked_from(demo, day, away[1:]) is not None
