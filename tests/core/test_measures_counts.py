"""Counts, school minutes and the steps of a chain, as a coordinator would count them by hand."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from service.core.days import NoSchool, SchoolDay
from service.core.measures.figures import Fault, Limits, Measure, figures
from service.core.measures.interval import Estimate
from service.core.measures.lost import Broken, lost
from service.core.measures.steps import ENOUGH, Turn, steps
from service.core.measures.survival import Spell
from service.core.measures.tally import Checked, device_days, grouped, tally, times_to_answer
from service.core.reading import Result

MONDAY = date(2026, 10, 5)


def at(hour: int, minute: int = 0, day: date = MONDAY) -> datetime:
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=UTC)


def check(student: str, result: Result | None, day: int = 0, devices: int = 2) -> Checked:
    return Checked(student, "hollow-road", MONDAY + timedelta(days=day), result, devices)


WEEK = [
    check("st-1", Result.WORKING), check("st-1", Result.FIXED, 1), check("st-1", Result.WORKING, 2),
    check("st-2", Result.FAULT, 0, 1), check("st-2", Result.AWAY, 1, 1), check("st-2", Result.UNANSWERED, 2, 1),
    check("st-3", Result.NOT_DONE), check("st-3", Result.NOT_ASKED, 1), check("st-3", Result.NO_CHECK, 2),
    check("st-3", None, 3),
]  # fmt: skip


def test_a_check_away_or_called_off_was_not_expected_and_one_of_today_is_still_open() -> None:
    found = tally(WEEK)
    assert (found.planned, found.expected, found.done, found.open) == (9, 7, 4, 1)


def test_every_figure_says_how_many_of_how_many() -> None:
    counted = {f.measure: (f.count, f.of) for f in figures(WEEK)}
    assert counted[Measure.DONE] == (4, 7)
    assert counted[Measure.UNANSWERED] == (1, 7)
    assert counted[Measure.WORKING_ON_ARRIVAL] == (2, 4)
    assert counted[Measure.FAULT_FOUND] == (2, 4)
    assert counted[Measure.FIXED_IN_CLASS] == (1, 2)
    assert counted[Measure.CHILDREN_WITH_FAULT] == (2, 2)
    assert counted[Measure.FAULTS] == (2, 7)


def test_limits_are_by_child_where_a_child_comes_again_and_wilsons_where_each_counts_once() -> None:
    how = {f.measure: f.limits for f in figures(WEEK)}
    assert how[Measure.DONE] is how[Measure.WORKING_ON_ARRIVAL] is Limits.BY_CHILD
    assert how[Measure.CHILDREN_WITH_FAULT] is Limits.EACH_ONCE
    assert how[Measure.FAULTS] is Limits.COUNT
    assert how[Measure.TO_WORKING] is Limits.MEDIAN


def test_silence_and_a_child_who_was_not_there_are_never_counted_as_working() -> None:
    quiet = [check("st-1", r, n) for n, r in enumerate((Result.UNANSWERED, Result.NOT_ASKED, Result.NOT_DONE))]
    found = {f.measure: f for f in figures(quiet)}
    assert found[Measure.WORKING_ON_ARRIVAL].of == 0
    assert found[Measure.WORKING_ON_ARRIVAL].estimate == Estimate(None, None, None)


def test_two_checks_of_one_day_are_one_device_day_each_and_one_day_with_a_fault() -> None:
    twice = [check("st-1", Result.FAULT), check("st-1", Result.WORKING), check("st-1", Result.FIXED)]
    assert device_days(twice) == 2
    assert next(f for f in figures(twice) if f.measure is Measure.FAULTS).count == 1


def test_checks_are_grouped_by_whatever_is_asked() -> None:
    assert {k: len(v) for k, v in grouped(WEEK, lambda c: c.student).items()} == {"st-1": 3, "st-2": 3, "st-3": 4}


def test_an_answer_that_never_came_took_at_least_as_long_as_was_waited() -> None:
    silent = Checked("st-1", "s", MONDAY, Result.UNANSWERED, 1, asked_at=at(8), until=at(15))
    answered = replace(silent, result=Result.WORKING, answered_at=at(8, 7))
    never_asked = Checked("st-2", "s", MONDAY, Result.NOT_ASKED, 1, until=at(15))
    assert times_to_answer([answered, silent, never_asked]) == [Spell(7.0), Spell(420.0, ended=False)]


def test_open_faults_count_among_the_times_to_working_as_longer_than_so_far() -> None:
    held = [
        Fault("st-1", "s", Spell(3), Spell(50)),
        Fault("st-2", "s", Spell(5), Spell(400, ended=False)),
        Fault("st-3", "s", Spell(8), Spell(900, ended=False)),
    ]
    found = {f.measure: f for f in figures([], held)}
    assert (found[Measure.TO_TOLD].count, found[Measure.TO_TOLD].of) == (3, 3)
    assert found[Measure.TO_TOLD].estimate.value == 5
    assert (found[Measure.TO_WORKING].count, found[Measure.TO_WORKING].of) == (1, 3)
    assert found[Measure.TO_WORKING].estimate.value is None


def school_day(day: int) -> SchoolDay:
    on = MONDAY + timedelta(days=day)
    return SchoolDay("s", on, "regular", None, (), {}, at(8, day=on), at(15, day=on), "UTC")


DAYS = [school_day(0), school_day(1), NoSchool("s", MONDAY + timedelta(days=2), "snow"), school_day(3)]


def test_minutes_of_school_are_counted_between_bells_and_never_over_night_or_snow() -> None:
    """Monday 14:00 to Thursday 09:00: an hour, a whole day of seven hours, no Wednesday, an hour."""
    found = lost(Broken(at(14), at(9, day=MONDAY + timedelta(days=3))), DAYS, at(23))
    assert (found.without, found.bridged, found.open) == (60 + 420 + 60, 0, False)


def test_a_loaner_bridges_the_time_but_does_not_hide_it() -> None:
    loaner = (at(8, day=MONDAY + timedelta(days=1)), at(12, day=MONDAY + timedelta(days=1)))
    notes = (at(11, day=MONDAY + timedelta(days=1)), at(13, day=MONDAY + timedelta(days=1)))
    found = lost(
        Broken(at(14), at(9, day=MONDAY + timedelta(days=3)), meanwhile=(notes, loaner)), DAYS, at(23)
    )
    assert (found.without, found.bridged) == (540 - 300, 300)


def test_a_day_on_which_the_child_was_away_is_not_lost_and_an_open_fault_counts_until_now() -> None:
    away = frozenset({MONDAY + timedelta(days=1)})
    found = lost(Broken(at(14), away=away), DAYS, at(8, 30, MONDAY + timedelta(days=3)))
    assert (found.without, found.open) == (60 + 30, True)


def turn(n: int, took: float, ended: bool = True, limit: float | None = 30, student: str | None = None) -> Turn:
    return Turn("silence", 1, "second", student or f"st-{n}", Spell(took, ended), limit)


def test_a_step_that_answers_fast_or_not_at_all_has_too_long_a_limit() -> None:
    quick = [turn(n, 2 + n % 4) for n in range(20)] + [turn(90 + n, 30, ended=False) for n in range(5)]
    (found,) = steps(quick)
    assert (found.reached, found.saved, found.nine_of_ten, found.limit) == (25, 20, 5, 30)
    assert found.saves.value == pytest.approx(0.8)
    assert found.median.value == 4
    assert found.too_long
    assert steps([turn(n, 5, limit=10) for n in range(20)])[0].too_long
    assert not steps([turn(n, 5, limit=9) for n in range(20)])[0].too_long


def test_a_step_that_needs_its_time_or_has_answered_seldom_is_left_alone() -> None:
    (slow,) = steps([turn(n, 10 + n) for n in range(20)])
    (seldom,) = steps([turn(n, 1) for n in range(ENOUGH - 1)])
    (to_the_end,) = steps([turn(n, 1, limit=None) for n in range(20)])
    (never,) = steps([turn(n, 30, ended=False) for n in range(20)])
    assert not any(found.too_long for found in (slow, seldom, to_the_end, never))
    assert (never.saved, never.nine_of_ten) == (0, None)
