"""Bell times of real schools, each period of each day type at the right instant, in winter and in summer.

Sources: `data/SOURCES.md`, section "bells". The expected instants use fixed offsets and no zone data.
"""

import csv
import json
from datetime import UTC, date, datetime, time, timedelta

import pytest
from school_files import (
    CENTRAL,
    EASTERN,
    OFFSETS,
    SUMMER,
    WINTER,
    ZONES,
    boundaries_day_types,
    data,
    json_day_types,
    minutes_day_types,
    plain_text_school,
    school_of,
    utc,
)

from service.core.days import NoSchool, SchoolDay, bell, school_day
from service.core.district import Bell, DayType
from service.core.notices import Notice, NoticeKind


def assert_every_period_rings(day_types: dict[str, DayType], zone: str) -> int:
    """Put each day type on a winter and on a summer date, and compare every period; how many were compared."""
    compared = 0
    for name, day_type in day_types.items():
        for day in (WINTER, SUMMER):
            found = school_day(school_of(day_types, zone, dates={day: name}), day)
            if not day_type.bells:
                assert isinstance(found, NoSchool)
                continue
            assert isinstance(found, SchoolDay)
            expected = [
                (b.name, utc(day, b.start, zone), utc(day, b.end, zone) if b.end else None)
                for b in sorted(day_type.bells, key=lambda b: b.start)
            ]
            assert [(b.name, b.start, b.end) for b in found.bells] == expected
            compared += len(expected)
    return compared


def test_the_offsets_used_here_agree_with_the_published_clock_changes():
    changes = json.loads(data("vectors/dst-transitions-2026-2027.json").read_text())
    for zone, offsets in OFFSETS.items():
        for day, hours in zip((WINTER, SUMMER), offsets, strict=True):
            past = [c for c in changes[zone] if c["utc"] < day.isoformat()]
            assert int(past[-1]["offset_after"]) == hours * 100


@pytest.mark.parametrize("folder", sorted(ZONES))
def test_every_period_of_a_plain_text_school(folder: str):
    school, _ = plain_text_school(folder)
    assert assert_every_period_rings(dict(school.day_types), school.zone) > 20


def test_the_plain_text_schools_are_all_covered():
    folders = {p.name for p in data("bells/bellplus").iterdir() if p.is_dir()}
    assert folders == set(ZONES)


@pytest.mark.parametrize("folder", sorted(ZONES))
def test_every_date_of_a_plain_text_calendar_is_the_day_it_says(folder: str):
    school, calendar = plain_text_school(folder)
    shut = {
        s.first + timedelta(days=n) for s in calendar.closures for n in range((s.last - s.first).days + 1)
    }
    for day in shut:
        assert isinstance(school_day(school, day), NoSchool)
    for day, name in calendar.dates.items():
        if day in shut:
            continue
        found = school_day(school, day)
        assert isinstance(found, SchoolDay)
        assert found.day_type == name
    for n in range(14):
        day = date(2016, 1, 4) + timedelta(days=n)
        found = school_day(school, day)
        expected = calendar.week.get(day.isoweekday())
        assert (found.day_type if isinstance(found, SchoolDay) else None) == expected


def test_dates_that_name_a_schedule_the_file_no_longer_has_are_refused_by_line():
    _, calendar = plain_text_school("lahs")
    assert "05/30/2017 odd" in calendar.refused
    assert len(calendar.refused) == 72
    others = [line for folder in ZONES if folder != "lahs" for line in plain_text_school(folder)[1].refused]
    assert others == []


def test_a_date_that_is_listed_both_as_a_holiday_and_with_bells_is_a_holiday():
    school, calendar = plain_text_school("lahs")
    both = [day for day in calendar.dates if any(s.holds(day) for s in calendar.closures)]
    assert both == [date(2020, 1, 20)]
    assert isinstance(school_day(school, both[0]), NoSchool)


def test_one_name_twice_in_a_day_means_the_first():
    school, _ = plain_text_school("inglemoor-b")
    found = school_day(school_of(dict(school.day_types), school.zone, dates={WINTER: "odd"}), WINTER)
    assert isinstance(found, SchoolDay)
    twice = [b.start for b in found.bells if b.name == "Period 5"]
    assert len(twice) == 2
    assert bell(found, "Period 5") == min(twice)


def test_lunch_schedules_kept_as_two_schools_are_one_school_with_variants():
    a, b = (plain_text_school(f"inglemoor-{letter}")[0] for letter in "ab")
    types = {
        name: DayType(name, a.day_types[name].bells, {"lunch B": b.day_types[name].bells})
        for name in a.day_types
        if a.day_types[name].bells
    }
    compared = 0
    for name in types:
        found = school_day(school_of(types, a.zone, dates={WINTER: name}), WINTER)
        assert isinstance(found, SchoolDay)
        for period in b.day_types[name].bells:
            first = min(p.start for p in b.day_types[name].bells if p.name == period.name)
            assert bell(found, period.name, variant="lunch B") == utc(WINTER, first, a.zone)
            compared += 1
    assert compared > 20


def test_period_names_that_are_numbers_and_ends_that_are_null():
    types = json_day_types("bells/us-ny-southampton-hs.json")
    assert assert_every_period_rings(types, EASTERN) == 2 * (11 + 11 + 12)
    found = school_day(school_of(types, EASTERN, dates={WINTER: "two_hour_delay"}), WINTER)
    assert isinstance(found, SchoolDay)
    assert bell(found, "Warning", "end") is None
    assert bell(found, "1") == utc(WINTER, time(9, 25), EASTERN)


def test_a_two_hour_delay_puts_the_schools_own_delayed_day_in_force():
    types = json_day_types("bells/us-ny-southampton-hs.json")
    school = school_of(types, EASTERN, week={3: "regular_schedule"}, delayed_type="two_hour_delay")
    snow = Notice(
        "nt-1",
        NoticeKind.DELAY,
        WINTER,
        WINTER,
        "o-plum",
        utc(WINTER, time(5, 30), EASTERN),
        delay=timedelta(hours=2),
    )
    found = school_day(school, WINTER, (snow,))
    assert isinstance(found, SchoolDay)
    assert (found.day_type, found.late) == ("two_hour_delay", timedelta(hours=2))
    assert found.first == utc(WINTER, time(9, 20), EASTERN)


def test_minutes_after_midnight_that_differ_by_weekday():
    types = minutes_day_types("bells/au-nsw-baulkham-hills-belltimes.json")
    assert assert_every_period_rings(types, "Australia/Sydney") == 2 * (13 + 12 + 12 + 12 + 12)
    week = dict(zip(range(1, 6), types, strict=True))
    school = school_of(types, "Australia/Sydney", week=week)
    monday, wednesday = (school_day(school, date(2026, 11, n)) for n in (30, 25))
    assert isinstance(monday, SchoolDay)
    assert isinstance(wednesday, SchoolDay)
    assert monday.last == datetime(2026, 11, 30, 4, 6, tzinfo=UTC)  # 15:06 at UTC+11
    assert wednesday.last == datetime(2026, 11, 25, 3, 30, tzinfo=UTC)  # 14:30


def test_periods_that_overlap_are_kept_both():
    types = minutes_day_types("bells/au-nsw-baulkham-hills-belltimes.json")
    found = school_day(school_of(types, "Australia/Sydney", dates={WINTER: "Wednesday"}), WINTER)
    assert isinstance(found, SchoolDay)
    assert bell(found, "Sport") == bell(found, "Period 6")
    assert bell(found, "Sport", "end") == found.last


def test_a_fixed_offset_in_a_file_is_not_believed_in_winter():
    rows = list(csv.DictReader(data("bells/us-fl-pinecrest-ftl-upper.csv").read_text().splitlines()))
    assert all(row["start_time"].endswith("-04:00") for row in rows)
    clock = [
        (row["name"], *(datetime.fromisoformat(row[k]).time() for k in ("start_time", "end_time")))
        for row in rows
    ]
    types = {"usual": DayType("usual", tuple(Bell(*row) for row in clock))}
    assert assert_every_period_rings(types, EASTERN) == 2 * len(rows)
    found = school_day(school_of(types, EASTERN, dates={WINTER: "usual"}), WINTER)
    assert isinstance(found, SchoolDay)
    assert bell(found, "Per. 1") == datetime(
        2026, 12, 2, 13, 10, tzinfo=UTC
    )  # 08:10 at -05:00, not at -04:00


def test_a_day_that_ends_at_24_00_is_refused_by_line_and_the_rest_is_read():
    types, refused = boundaries_day_types("bells/us-carnegie-ms-bellschedules.txt")
    assert refused == ["24 00 End of the day"] * 4 + ["24 00 End of day"]
    assert list(types) == ["Regular", "Early", "Assembly", "Testing", "Finals"]
    # The file does not say where the school is; any zone with summer time will do.
    assert assert_every_period_rings(types, CENTRAL) == 2 * (10 + 8 + 9 + 10 + 3)
    found = school_day(school_of(types, CENTRAL, dates={WINTER: "Regular"}), WINTER)
    assert isinstance(found, SchoolDay)
    assert found.last == bell(found, "Bus Assignment") == utc(WINTER, time(15, 52), CENTRAL)
