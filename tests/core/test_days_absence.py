"""Who is away when: spans of the configuration together with what notices say."""

from datetime import UTC, date, datetime, timedelta

import pytest
from days_made import FRIDAY, MONDAY, adult, district, made_school, new_york, notice, student

from service.core.district import Role, RoleAt, Span
from service.core.notices import NoticeKind, away, away_on

TUESDAY, WEDNESDAY, THURSDAY = (MONDAY + timedelta(days=n) for n in (1, 2, 3))
WEEK = district(student("s-110"), people=(adult("v-fern", away=(Span(MONDAY, WEDNESDAY),)),))


def gone(first: date, last: date | None = None, who: str = "l-teal", **changes):
    return notice(NoticeKind.AWAY, first, last, person=who, **changes)


def back(first: date, who: str = "l-teal", **changes):
    return notice(NoticeKind.BACK, first, person=who, at=changes.pop("at", new_york("07:00")), **changes)


def days_away(who: str, *notices) -> list[date]:
    week = [MONDAY + timedelta(days=n) for n in range(5)]
    return [d for d in week if away_on(who, d, notices, WEEK)]


def test_nobody_is_away_without_a_reason():
    assert days_away("l-teal") == []


def test_the_configuration_says_who_is_away():
    assert days_away("v-fern") == [MONDAY, TUESDAY, WEDNESDAY]


def test_a_notice_says_who_is_away():
    assert days_away("l-teal", gone(TUESDAY, THURSDAY)) == [TUESDAY, WEDNESDAY, THURSDAY]
    assert days_away("a-moss", gone(TUESDAY, THURSDAY)) == []


def test_a_student_can_be_away():
    assert days_away("s-110", notice(NoticeKind.AWAY, FRIDAY, student="s-110")) == [FRIDAY]


def test_back_ends_an_absence_from_its_day_on():
    assert days_away("l-teal", gone(MONDAY, FRIDAY), back(WEDNESDAY)) == [MONDAY, TUESDAY]


def test_back_ends_an_absence_of_the_configuration_too():
    assert days_away("v-fern", back(TUESDAY, "v-fern")) == [MONDAY]


def test_back_leaves_an_absence_that_begins_later():
    assert days_away("l-teal", back(MONDAY), gone(THURSDAY, FRIDAY)) == [THURSDAY, FRIDAY]


def test_away_again_after_back_counts():
    again = gone(WEDNESDAY, at=new_york("12:00"))
    assert days_away("l-teal", gone(MONDAY, FRIDAY), back(WEDNESDAY), again) == [MONDAY, TUESDAY, WEDNESDAY]


def test_a_withdrawn_absence_is_none_and_a_withdrawn_return_is_none():
    assert days_away("l-teal", gone(MONDAY, withdrawn_at=new_york("07:00"))) == []
    untrue = back(MONDAY, withdrawn_at=new_york("07:30"))
    assert days_away("l-teal", gone(MONDAY), untrue) == [MONDAY]


def test_an_absence_at_one_school_counts_there_alone():
    here = gone(MONDAY, schools=("hollow-road",))
    assert away_on("l-teal", MONDAY, (here,), WEEK, "hollow-road")
    assert not away_on("l-teal", MONDAY, (here,), WEEK, "mill-lane")
    assert not away_on("l-teal", MONDAY, (here,), WEEK)


def test_the_day_of_an_instant_is_the_day_where_the_person_is():
    # 03:00 UTC on Tuesday is still Monday evening in New York, and Tuesday afternoon in Auckland.
    far = made_school(id="far-field", zone="Pacific/Auckland")
    there = adult("v-fern", roles=(RoleAt(Role.CHECKER, ("far-field",)),), away=(Span(TUESDAY, TUESDAY),))
    both = district(student("s-110"), schools=(made_school(), far), people=(there,))
    instant = datetime(2026, 12, 1, 3, 0, tzinfo=UTC)
    assert away("v-fern", instant, (), both)
    assert not away("v-fern", instant, (), both, "hollow-road")
    assert away("s-110", instant, (notice(NoticeKind.AWAY, MONDAY, student="s-110"),), both)


def test_an_instant_without_an_offset_is_refused():
    with pytest.raises(ValueError, match="offset"):
        away("l-teal", datetime(2026, 12, 1, 3, 0), (), WEEK)
