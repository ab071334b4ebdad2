"""Cycle days: labels that advance on school days only."""

from datetime import date, timedelta

from days_made import MONDAY, made_school, notice, open_day

from service.core.days import cycle_day
from service.core.district import Rotation, Span
from service.core.notices import NoticeKind

AB = Rotation(("A", "B"), MONDAY)
SIX = Rotation(("1", "2", "3", "4", "5", "6"), MONDAY)


def labels(school, first: date, days: int, notices=()) -> list[str | None]:
    return [cycle_day(school, first + timedelta(days=n), notices) for n in range(days)]


def test_the_first_school_day_has_the_first_label_and_weekends_have_none():
    assert labels(made_school(rotation=AB), MONDAY, 8) == ["A", "B", "A", "B", "A", None, None, "B"]


def test_six_labels_run_over_the_weekend():
    assert labels(made_school(rotation=SIX), MONDAY, 9) == ["1", "2", "3", "4", "5", None, None, "6", "1"]


def test_a_rotation_that_starts_on_a_holiday_begins_on_the_next_school_day():
    school = made_school(rotation=SIX, closures=(Span(MONDAY, MONDAY, "holiday"),))
    assert labels(school, MONDAY, 3) == [None, "1", "2"]


def test_there_is_no_label_before_the_rotation_starts():
    assert cycle_day(made_school(rotation=AB), MONDAY - timedelta(days=3)) is None


def test_a_school_without_a_rotation_has_no_labels():
    assert cycle_day(made_school(), MONDAY) is None


def test_planned_closures_do_not_advance_the_cycle():
    closure = Span(date(2026, 12, 1), date(2026, 12, 2), "staff days")
    assert labels(made_school(rotation=AB, closures=(closure,)), MONDAY, 5) == ["A", None, None, "B", "A"]


def test_a_snow_day_hands_its_label_to_the_next_school_day():
    snow = notice(NoticeKind.CLOSED, date(2026, 12, 1))
    assert labels(made_school(rotation=AB), MONDAY, 4, (snow,)) == ["A", None, "B", "A"]


def test_a_snow_day_at_another_school_changes_nothing_here():
    snow = notice(NoticeKind.CLOSED, date(2026, 12, 1), schools=("elsewhere",))
    assert labels(made_school(rotation=AB), MONDAY, 3, (snow,)) == ["A", "B", "A"]


def test_a_withdrawn_snow_day_changes_nothing():
    snow = notice(NoticeKind.CLOSED, date(2026, 12, 1))
    taken_back = notice(NoticeKind.CLOSED, date(2026, 12, 1), withdrawn_at=snow.at)
    assert labels(made_school(rotation=AB), MONDAY, 3, (taken_back,)) == ["A", "B", "A"]


def test_a_delay_still_advances_the_cycle():
    late = notice(NoticeKind.DELAY, date(2026, 12, 1), delay=timedelta(hours=2))
    assert labels(made_school(rotation=AB), MONDAY, 3, (late,)) == ["A", "B", "A"]


def test_a_restart_names_the_label_of_its_date_and_the_cycle_goes_on_from_there():
    turning = Rotation(("A", "B"), MONDAY, restarts={date(2026, 12, 3): "A", date(2026, 12, 4): "A"})
    assert labels(made_school(rotation=turning), MONDAY, 5) == ["A", "B", "A", "A", "A"]


def test_a_restart_on_a_snow_day_holds_from_the_next_school_day():
    turning = Rotation(("1", "2", "3"), MONDAY, restarts={date(2026, 12, 2): "3"})
    snow = notice(NoticeKind.CLOSED, date(2026, 12, 2))
    assert labels(made_school(rotation=turning), MONDAY, 5, (snow,)) == ["1", "2", None, "3", "1"]


def test_a_restart_brings_the_planned_label_back_after_a_snow_day():
    turning = Rotation(("A", "B"), MONDAY, restarts={date(2026, 12, 2): "A"})
    snow = notice(NoticeKind.CLOSED, date(2026, 12, 1))
    assert labels(made_school(rotation=turning), MONDAY, 4, (snow,)) == ["A", None, "A", "B"]


def test_a_day_after_a_snow_day_has_the_label_that_was_handed_on():
    snow = notice(NoticeKind.CLOSED, date(2026, 12, 1))
    assert open_day(made_school(rotation=AB), date(2026, 12, 2), (snow,)).cycle_day == "B"


def test_a_restart_on_the_very_first_day_names_its_label():
    turning = Rotation(("A", "B"), MONDAY, restarts={MONDAY: "B"})
    assert labels(made_school(rotation=turning), MONDAY, 3) == ["B", "A", "B"]


def test_a_restart_dated_before_the_start_does_nothing():
    turning = Rotation(("A", "B"), MONDAY, restarts={MONDAY - timedelta(days=30): "B"})
    assert cycle_day(made_school(rotation=turning), MONDAY) == "A"
