"""What notices make of a day: closed, delayed, ended early."""

from datetime import UTC, date, datetime, time, timedelta

from days_made import MONDAY, REGULAR, bells, made_school, new_york, notice, open_day, shut_day

from service.core.days import NoSchool, bell, clock
from service.core.district import DayType, Rotation
from service.core.notices import NoticeKind

TWO_HOURS = timedelta(hours=2)
LATE_START = DayType("late start", bells(("Period 1", "10:00", "10:30"), ("Period 6", "14:00", "15:00")))


def delay(length: timedelta = TWO_HOURS, **changes):
    return notice(NoticeKind.DELAY, delay=length, **changes)


def early_end(at: str, **changes):
    return notice(NoticeKind.EARLY_END, ends=time.fromisoformat(at), **changes)


def test_a_closed_day_has_no_school():
    shut = shut_day(made_school(), MONDAY, (notice(NoticeKind.CLOSED),))
    assert shut == NoSchool("hollow-road", MONDAY, "closed by notice")


def test_a_notice_for_other_schools_changes_nothing_here():
    plain = open_day(made_school())
    for other in (notice(NoticeKind.CLOSED, schools=("elsewhere",)), delay(schools=("elsewhere",))):
        assert open_day(made_school(), MONDAY, (other, early_end("12:10", schools=("elsewhere",)))) == plain


def test_a_notice_for_this_school_among_others_counts_here():
    here = ("elsewhere", "hollow-road")
    shut_day(made_school(), MONDAY, (notice(NoticeKind.CLOSED, schools=here),))
    assert open_day(made_school(), MONDAY, (delay(schools=here),)).first == new_york("10:00")
    assert open_day(made_school(), MONDAY, (early_end("12:10", schools=here),)).last == new_york("12:10")


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
    shut = shut_day(made_school(), MONDAY, (early_end("07:30"),))
    assert shut == NoSchool("hollow-road", MONDAY, "it ends before the first bell")


def test_a_delay_and_an_early_end_hold_together():
    day = open_day(made_school(), MONDAY, (delay(), early_end("11:30")))
    assert (day.first, day.last) == (new_york("10:00"), new_york("11:30"))
    assert [b.name for b in day.bells] == ["Homeroom", "Period 1", "Period 2"]


def test_an_early_end_is_on_the_schools_own_clock():
    school = made_school(zone="America/Los_Angeles")
    assert open_day(school, MONDAY, (early_end("11:30"),)).last == datetime(2026, 11, 30, 19, 30, tzinfo=UTC)


def test_a_delay_of_no_length_moves_nothing():
    school = made_school()
    assert open_day(school, MONDAY, (notice(NoticeKind.DELAY),)).bells == open_day(school).bells


def test_a_delayed_day_keeps_its_place_in_the_rotation():
    school = made_school(
        day_types={"regular": REGULAR, "late": LATE_START},
        delayed_type="late",
        rotation=Rotation(("A", "B"), MONDAY),
    )
    assert open_day(school, MONDAY, (delay(),)).cycle_day == "A"


def test_a_variants_own_bus_bell_stays_where_it_was_on_a_delayed_day():
    own = {"upper building": bells(("Buses", "15:00", None))}
    school = made_school(day_types={"regular": DayType("regular", REGULAR.bells, own)})
    day = open_day(school, MONDAY, (delay(),))
    assert bell(day, "Buses", variant="upper building") == new_york("15:00")


def test_a_delayed_day_type_that_opens_no_later_is_not_late():
    early = DayType("as ever", bells(("Period 1", "07:30", "10:30")))
    school = made_school(day_types={"regular": REGULAR, "early": early}, delayed_type="early")
    day = open_day(school, MONDAY, (delay(),))
    assert (day.first, day.late, day.moved) == (new_york("07:30"), timedelta(), False)


def test_a_delayed_day_type_without_bells_is_a_day_without_school():
    school = made_school(
        day_types={"regular": REGULAR, "late": DayType("late start", ())}, delayed_type="late"
    )
    assert shut_day(school, MONDAY, (delay(),)) == NoSchool(school.id, MONDAY, "late has no bells")


def test_a_delayed_day_says_by_how_much_and_that_its_bells_moved():
    day = open_day(made_school(), MONDAY, (delay(timedelta(minutes=30)),))
    assert (day.late, day.moved) == (timedelta(minutes=30), True)
    plain = open_day(made_school())
    assert (plain.late, plain.moved) == (timedelta(), False)


def test_a_period_that_ends_as_the_delay_is_given_is_over():
    day = open_day(made_school(), MONDAY, (delay(timedelta(minutes=30), at=new_york("08:10")),))
    assert bell(day, "Homeroom", "end") == new_york("08:10")
    moved = open_day(made_school(), MONDAY, (delay(timedelta(minutes=30), at=new_york("08:09")),))
    assert bell(moved, "Homeroom", "end") == new_york("08:40")


def test_a_bell_without_an_end_is_over_once_it_has_rung():
    single = DayType("regular", bells(("Gate", "08:00", None), ("Period 1", "08:15", "15:00")))
    school = made_school(day_types={"regular": single})
    by = timedelta(minutes=30)
    assert bell(open_day(school, MONDAY, (delay(by, at=new_york("08:00")),)), "Gate") == new_york("08:00")
    assert bell(open_day(school, MONDAY, (delay(by),)), "Gate") == new_york("08:30")


def test_bells_that_moved_past_bells_that_stayed_ring_in_order_of_time():
    mixed = DayType(
        "regular", bells(("Early", "08:00", "08:40"), ("Gate", "08:20", None), ("End", "12:00", "13:00"))
    )
    day = open_day(
        made_school(day_types={"regular": mixed}),
        MONDAY,
        (delay(timedelta(minutes=30), at=new_york("08:30")),),
    )
    assert [b.name for b in day.bells] == ["Gate", "Early", "End"]


def test_a_time_of_day_that_would_move_onto_the_last_bell_stays():
    day = open_day(made_school(), MONDAY, (delay(),))
    assert clock(day, time(13, 0)) == new_york("13:00")
    assert clock(day, time(12, 59)) == new_york("14:59")


def test_a_time_before_the_delayed_opening_moves_though_it_passes_the_last_bell():
    day = open_day(made_school(), MONDAY, (delay(), early_end("11:30")))
    assert clock(day, time(9, 59)) == new_york("11:59")
    assert clock(day, time(10, 0)) == new_york("10:00")


def test_under_a_delayed_day_type_what_is_due_as_it_opens_stays():
    school = made_school(day_types={"regular": REGULAR, "late": LATE_START}, delayed_type="late")
    day = open_day(school, MONDAY, (delay(),))
    assert clock(day, time(10, 0)) == new_york("10:00")
    assert clock(day, time(9, 59)) == new_york("11:59")


def test_a_bell_without_an_end_still_rings_at_the_early_end():
    buses = DayType("regular", (*REGULAR.bells, *bells(("Buses", "12:10", None))))
    day = open_day(made_school(day_types={"regular": buses}), MONDAY, (early_end("12:10"),))
    assert bell(day, "Buses") == new_york("12:10")


def test_an_early_end_at_the_first_bell_leaves_no_school_and_a_minute_later_a_minute_of_it():
    shut_day(made_school(), MONDAY, (early_end("08:00"),))
    assert open_day(made_school(), MONDAY, (early_end("08:01"),)).last == new_york("08:01")


def test_variants_end_early_as_well():
    own = {"lunch B": bells(("Lunch", "12:30", "13:00"), ("Club", "13:10", "13:30"))}
    school = made_school(day_types={"regular": DayType("regular", REGULAR.bells, own)})
    day = open_day(school, MONDAY, (early_end("12:40"),))
    assert [(b.name, b.end) for b in day.variants["lunch B"]] == [("Lunch", new_york("12:40"))]


def test_an_early_end_without_a_time_changes_nothing():
    school = made_school()
    assert open_day(school, MONDAY, (notice(NoticeKind.EARLY_END),)) == open_day(school)
