"""What notices make of a day: closed, delayed, ended early."""

from datetime import UTC, date, datetime, time, timedelta

from days_made import MONDAY, REGULAR, bells, made_school, new_york, notice, open_day, shut_day

from service.core.days import bell, clock
from service.core.district import DayType
from service.core.notices import NoticeKind

TWO_HOURS = timedelta(hours=2)
LATE_START = DayType("late start", bells(("Period 1", "10:00", "10:30"), ("Period 6", "14:00", "15:00")))


def delay(length: timedelta = TWO_HOURS, **changes):
    return notice(NoticeKind.DELAY, delay=length, **changes)


def early_end(at: str, **changes):
    return notice(NoticeKind.EARLY_END, ends=time.fromisoformat(at), **changes)


def test_a_closed_day_has_no_school():
    assert shut_day(made_school(), MONDAY, (notice(NoticeKind.CLOSED),)).reason == "closed by notice"


def test_a_notice_for_other_schools_does_not_close_this_one():
    open_day(made_school(), MONDAY, (notice(NoticeKind.CLOSED, schools=("elsewhere",)),))


def test_a_notice_for_a_range_holds_on_both_of_its_ends():
    closed = notice(NoticeKind.CLOSED, date(2026, 12, 1), date(2026, 12, 3))
    open_day(made_school(), date(2026, 11, 30), (closed,))
    shut_day(made_school(), date(2026, 12, 1), (closed,))
    shut_day(made_school(), date(2026, 12, 3), (closed,))
    open_day(made_school(), date(2026, 12, 4), (closed,))


def test_a_withdrawn_notice_counts_for_nothing():
    open_day(made_school(), MONDAY, (notice(NoticeKind.CLOSED, withdrawn_at=new_york("07:00")),))


def test_closed_stands_beside_a_delay_whichever_came_last():
    later = delay(at=new_york("07:30"))
    shut_day(made_school(), MONDAY, (notice(NoticeKind.CLOSED), later))


def test_a_delay_moves_every_bell_and_leaves_the_last_bell_where_it_was():
    day = open_day(made_school(), MONDAY, (delay(timedelta(minutes=30)),))
    assert bell(day, "Homeroom") == new_york("08:30")
    assert bell(day, "Period 1", "end") == new_york("09:30")
    assert bell(day, "Period 6") == new_york("14:30")
    assert bell(day, "Period 6", "end") == day.last == new_york("15:00")


def test_a_period_moved_past_the_last_bell_does_not_happen():
    day = open_day(made_school(), MONDAY, (delay(),))
    assert bell(day, "Period 6") is None
    assert bell(day, "Lunch") == new_york("14:00")
    assert day.first == new_york("10:00")


def test_the_bus_bell_rings_on_a_delayed_day_as_on_any_other():
    buses = DayType("regular", (*REGULAR.bells, *bells(("Buses", "15:10", None))))
    day = open_day(made_school(day_types={"regular": buses}), MONDAY, (delay(),))
    assert bell(day, "Buses") == day.last == new_york("15:10")


def test_a_delay_given_during_the_day_leaves_bells_that_are_over():
    day = open_day(made_school(), MONDAY, (delay(timedelta(minutes=30), at=new_york("08:12")),))
    assert bell(day, "Homeroom") == new_york("08:00")
    assert bell(day, "Period 1") == new_york("08:45")


def test_the_last_delay_given_counts():
    first = delay(timedelta(hours=1), id="nt-2")
    second = delay(TWO_HOURS, at=new_york("06:00"), id="nt-1")
    assert open_day(made_school(), MONDAY, (second, first)).first == new_york("10:00")


def test_a_delay_beyond_the_last_bell_leaves_no_school():
    assert (
        shut_day(made_school(), MONDAY, (delay(timedelta(hours=8)),)).reason
        == "the delay lasts until the last bell"
    )


def test_a_delayed_day_type_comes_into_force_where_the_school_has_one():
    school = made_school(day_types={"regular": REGULAR, "late": LATE_START}, delayed_type="late")
    day = open_day(school, MONDAY, (delay(),))
    assert day.day_type == "late"
    assert (bell(day, "Period 1"), bell(day, "Period 2")) == (new_york("10:00"), None)
    assert (day.first, day.last, day.late) == (new_york("10:00"), new_york("15:00"), TWO_HOURS)


def test_variants_move_with_the_bells():
    own = {"lunch B": bells(("Lunch", "12:30", "13:00"))}
    school = made_school(day_types={"regular": DayType("regular", REGULAR.bells, own)})
    day = open_day(school, MONDAY, (delay(timedelta(minutes=30)),))
    assert bell(day, "Lunch", variant="lunch B") == new_york("13:00")


def test_a_time_of_day_moves_with_the_bells():
    day = open_day(made_school(), MONDAY, (delay(),))
    assert clock(day, time(8, 5)) == new_york("10:05")
    assert clock(day, time(11, 0)) == new_york("13:00")


def test_a_time_of_day_that_would_move_past_the_last_bell_stays():
    day = open_day(made_school(), MONDAY, (delay(),))
    assert clock(day, time(13, 15)) == new_york("13:15")


def test_under_a_delayed_day_type_only_times_before_the_opening_move():
    school = made_school(day_types={"regular": REGULAR, "late": LATE_START}, delayed_type="late")
    day = open_day(school, MONDAY, (delay(),))
    assert clock(day, time(8, 5)) == new_york("10:05")
    assert clock(day, time(13, 0)) == new_york("13:00")


def test_after_an_early_end_no_bell_rings():
    day = open_day(made_school(), MONDAY, (early_end("12:10"),))
    assert [b.name for b in day.bells] == ["Homeroom", "Period 1", "Period 2", "Lunch"]
    assert bell(day, "Lunch", "end") == day.last == new_york("12:10")


def test_a_period_that_would_begin_at_the_early_end_does_not_happen():
    assert bell(open_day(made_school(), MONDAY, (early_end("12:00"),)), "Lunch") is None


def test_an_early_end_after_the_last_bell_changes_nothing():
    school = made_school()
    assert open_day(school, MONDAY, (early_end("16:00"),)) == open_day(school)


def test_an_early_end_before_the_first_bell_leaves_no_school():
    assert shut_day(made_school(), MONDAY, (early_end("07:30"),)).reason == "it ends before the first bell"


def test_a_delay_and_an_early_end_hold_together():
    day = open_day(made_school(), MONDAY, (delay(), early_end("11:30")))
    assert (day.first, day.last) == (new_york("10:00"), new_york("11:30"))
    assert [b.name for b in day.bells] == ["Homeroom", "Period 1", "Period 2"]


def test_an_early_end_is_on_the_schools_own_clock():
    school = made_school(zone="America/Los_Angeles")
    assert open_day(school, MONDAY, (early_end("11:30"),)).last == datetime(2026, 11, 30, 19, 30, tzinfo=UTC)
