"""What a date is at a school, before anybody gives a notice."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from days_made import FRIDAY, MONDAY, REGULAR, bells, made_school, new_york, open_day, shut_day

from service.core.days import (
    UnknownZoneError,
    bell,
    clock,
    instant,
    school_minutes,
    stray_dates,
    version,
    zone,
)
from service.core.district import DayType, Rotation, Span

EARLY = DayType("early release", bells(("Period 1", "08:15", "08:45"), ("Period 2", "08:50", "09:20")))


def test_an_ordinary_weekday_has_the_bells_of_its_day_type_in_utc():
    day = open_day(made_school())
    assert day.day_type == "regular"
    assert [b.name for b in day.bells] == ["Homeroom", "Period 1", "Period 2", "Lunch", "Period 6"]
    assert (day.first, day.last) == (new_york("08:00"), new_york("15:00"))
    assert all(b.start.tzinfo is UTC for b in day.bells)


def test_a_weekday_without_a_day_type_has_no_school():
    assert shut_day(made_school(), date(2026, 11, 28)).reason == "no school on Saturdays"


def test_days_outside_every_term_have_no_school():
    assert shut_day(made_school(), date(2026, 8, 31)).reason == "outside the terms"
    assert shut_day(made_school(), date(2027, 6, 21)).reason == "outside the terms"


def test_the_first_and_the_last_day_of_a_term_are_school_days():
    open_day(made_school(), date(2026, 9, 1))
    open_day(made_school(), date(2027, 6, 18))


def test_a_closure_includes_its_first_and_its_last_day():
    closure = Span(date(2026, 12, 2), date(2026, 12, 3), "staff days")
    school = made_school(closures=(closure,))
    open_day(school, date(2026, 12, 1))
    assert shut_day(school, date(2026, 12, 2)).reason == "staff days"
    assert shut_day(school, date(2026, 12, 3)).reason == "staff days"
    open_day(school, date(2026, 12, 4))


def test_a_closure_without_a_name_is_called_a_closure():
    assert shut_day(made_school(closures=(Span(FRIDAY, FRIDAY),)), FRIDAY).reason == "closure"


def test_a_date_beats_the_rotation_which_beats_the_week():
    types = {
        "regular": REGULAR,
        "early": EARLY,
        "block": DayType("block", bells(("Block A", "08:00", "09:30"))),
    }
    turning = Rotation(("A", "B"), date(2026, 11, 30), day_types={"B": "block"})
    school = made_school(day_types=types, rotation=turning, dates={date(2026, 12, 3): "early"})
    assert open_day(school, date(2026, 11, 30)).day_type == "regular"
    assert open_day(school, date(2026, 12, 1)).day_type == "block"
    assert open_day(school, date(2026, 12, 3)).day_type == "early"


def test_a_dated_day_type_makes_a_school_day_of_a_saturday():
    school = made_school(dates={date(2026, 12, 5): "regular"})
    assert open_day(school, date(2026, 12, 5)).bells


def test_a_closure_beats_a_dated_day_type():
    school = made_school(closures=(Span(FRIDAY, FRIDAY, "strike"),), dates={FRIDAY: "regular"})
    assert shut_day(school, FRIDAY).reason == "strike"


def test_a_rotation_gives_no_school_to_a_weekday_that_has_none():
    school = made_school(rotation=Rotation(("A",), MONDAY, day_types={"A": "regular"}))
    shut_day(school, date(2026, 12, 5))


def test_a_day_type_without_bells_is_a_day_without_school():
    school = made_school(day_types={"regular": DayType("staff only", ())})
    assert shut_day(school).reason == "regular has no bells"


def test_bells_configured_out_of_order_ring_in_order_of_time():
    mixed = DayType("regular", bells(("Last", "13:33", "14:00"), ("Before", "13:26", "13:30")))
    assert [b.name for b in open_day(made_school(day_types={"regular": mixed})).bells] == ["Before", "Last"]


def test_a_period_never_ends_before_it_begins():
    backwards = DayType("regular", bells(("Typo", "13:33", "13:26")))
    (typo,) = open_day(made_school(day_types={"regular": backwards})).bells
    assert typo.end == typo.start


def test_a_bell_without_an_end_bounds_the_day_by_its_start():
    single = DayType("regular", bells(("Period 1", "08:15", "09:00"), ("Buses", "15:10", None)))
    day = open_day(made_school(day_types={"regular": single}))
    assert day.last == new_york("15:10")
    assert bell(day, "Buses", "end") is None


def test_variants_belong_to_the_day_and_bound_it():
    own = {"upper building": bells(("Period 6", "14:30", "15:30"))}
    day = open_day(made_school(day_types={"regular": DayType("regular", REGULAR.bells, own)}))
    assert day.last == new_york("15:30")
    assert bell(day, "Period 6", variant="upper building") == new_york("14:30")
    assert bell(day, "Period 6") == new_york("14:00")


def test_a_variant_leaves_what_it_does_not_name_to_the_schools_own_bells():
    own = {"lunch B": bells(("Lunch", "12:30", "13:00"))}
    day = open_day(made_school(day_types={"regular": DayType("regular", REGULAR.bells, own)}))
    assert bell(day, "Lunch", variant="lunch B") == new_york("12:30")
    assert bell(day, "Period 1", variant="lunch B") == new_york("08:15")
    assert bell(day, "Lunch", variant="lunch C") == new_york("12:00")


def test_a_bell_that_does_not_ring_today_is_none():
    assert bell(open_day(made_school()), "Period 9") is None


def test_the_edge_of_a_bell_is_its_start_or_its_end():
    day = open_day(made_school())
    assert bell(day, "Period 1", "start") == new_york("08:15")
    assert bell(day, "Period 1", "end") == new_york("09:00")


def test_a_skipped_time_is_read_with_the_offset_before_the_gap():
    assert instant(date(2026, 3, 8), time(2, 30), zone("America/New_York")) == datetime(
        2026, 3, 8, 7, 30, tzinfo=UTC
    )


def test_a_repeated_time_means_the_first_of_the_two():
    first = datetime(2026, 11, 1, 5, 30, tzinfo=UTC)
    assert instant(date(2026, 11, 1), time(1, 30), zone("America/New_York")) == first
    assert instant(date(2026, 11, 1), time(1, 30, fold=1), zone("America/New_York")) == first


def test_on_the_day_the_clocks_change_a_bell_rings_when_the_clock_on_the_wall_shows_it():
    forward, back = date(2026, 3, 8), date(2026, 11, 1)
    assert instant(forward, time(8), zone("America/New_York")) == datetime(2026, 3, 8, 12, 0, tzinfo=UTC)
    assert instant(back, time(8), zone("America/New_York")) == datetime(2026, 11, 1, 13, 0, tzinfo=UTC)


def test_bells_stay_at_their_wall_clock_time_over_a_clock_change():
    school = made_school()
    before, after = open_day(school, date(2026, 10, 30)), open_day(school, date(2026, 11, 2))
    assert after.first - before.first == timedelta(days=3, hours=1)


def test_a_province_that_stopped_changing_its_clocks_is_asked_at_the_right_hour():
    # IANA 2026f: British Columbia stays at UTC-7 from 2026-11-01; editions before say UTC-8.
    assert instant(date(2026, 11, 25), time(8, 5), zone("America/Vancouver")) == datetime(
        2026, 11, 25, 15, 5, tzinfo=UTC
    )


def test_the_edition_of_the_zone_data_is_recent_enough():
    assert version() >= "2026f"


@pytest.mark.parametrize(
    "name", ["America/Nowhere", "", "../etc", "America", "/etc/localtime", "Eastern Standard Time"]
)
def test_an_unknown_zone_is_refused_by_name(name: str):
    with pytest.raises(UnknownZoneError, match="no time zone is called"):
        zone(name)


def test_school_minutes_count_only_between_the_first_and_the_last_bell():
    day = open_day(made_school())
    assert school_minutes(day, new_york("07:00"), new_york("08:30")) == 30
    assert school_minutes(day, new_york("08:00"), new_york("09:00")) == 60
    assert school_minutes(day, new_york("14:30"), new_york("22:00")) == 30
    assert school_minutes(day, new_york("16:00"), new_york("17:00")) == 0
    assert school_minutes(day, new_york("10:00"), new_york("09:00")) == 0


def test_school_minutes_are_whole_ones():
    day = open_day(made_school())
    begin = new_york("09:00")
    assert school_minutes(day, begin, begin + timedelta(seconds=59)) == 0
    assert school_minutes(day, begin, begin + timedelta(seconds=60)) == 1


def test_a_day_without_school_has_no_school_minutes():
    shut = shut_day(made_school(), date(2026, 11, 28))
    assert school_minutes(shut, new_york("08:00"), new_york("15:00")) == 0


def test_a_time_of_day_is_where_the_clock_shows_it_on_an_ordinary_day():
    assert clock(open_day(made_school()), time(8, 5)) == new_york("08:05")


def test_dates_outside_every_term_are_pointed_out():
    typo = Span(date(2025, 1, 1), date(2025, 1, 1), "winter break")
    good = Span(date(2026, 12, 21), date(2027, 1, 3), "winter break")
    turning = Rotation(("A", "B"), date(2026, 9, 1), restarts={date(2028, 1, 30): "A"})
    school = made_school(closures=(typo, good), dates={date(2026, 7, 1): "regular"}, rotation=turning)
    assert [s.first for s in stray_dates(school)] == [date(2025, 1, 1), date(2026, 7, 1), date(2028, 1, 30)]


def test_a_closure_that_reaches_into_a_term_is_not_pointed_out():
    summer = Span(date(2026, 7, 1), date(2026, 9, 2), "summer")
    assert stray_dates(made_school(closures=(summer,))) == ()


@pytest.mark.parametrize(
    ("first", "last", "stray"),
    [
        (date(2026, 8, 30), date(2026, 8, 31), True),
        (date(2026, 8, 31), date(2026, 9, 1), False),
        (date(2027, 6, 18), date(2027, 6, 19), False),
        (date(2027, 6, 19), date(2027, 6, 20), True),
    ],
)
def test_a_span_that_touches_a_term_by_a_day_is_not_outside_it(first: date, last: date, stray: bool):
    span = Span(first, last, "days off")
    assert stray_dates(made_school(closures=(span,))) == ((span,) if stray else ())


def test_a_date_or_restart_that_strays_is_pointed_out_by_its_day_type_or_label():
    turning = Rotation(("A", "B"), date(2026, 9, 1), restarts={date(2028, 1, 30): "A"})
    school = made_school(dates={date(2026, 7, 1): "regular"}, rotation=turning)
    assert stray_dates(school) == (
        Span(date(2026, 7, 1), date(2026, 7, 1), "regular"),
        Span(date(2028, 1, 30), date(2028, 1, 30), "A"),
    )
