"""Real school calendars: 208 published days of an A/B year, and closures whose last day is included.

Sources: `data/SOURCES.md`, section "calendars".
"""

import json
from datetime import UTC, date, datetime, time, timedelta

from school_files import EASTERN, PACIFIC, all_day_events, data, school_of

from service.core.days import NoSchool, SchoolDay, cycle_day, school_day, stray_dates
from service.core.district import Bell, DayType, Rotation, School, Span
from service.core.notices import Notice, NoticeKind

USUAL = {
    "usual": DayType("usual", (Bell("Period 1", time(8), time(9)), Bell("Period 6", time(13), time(14))))
}
WEEKDAYS = dict.fromkeys(range(1, 6), "usual")


def published_days() -> dict[date, str]:
    text = data("calendars/us-southkitsap-ab-days-2023-2024.ics").read_text(encoding="utf-8")
    return {date.fromisoformat(e["DTSTART"]): e["SUMMARY"] for e in all_day_events(text)}


def published_label(summary: str) -> str | None:
    return summary[0] if summary.startswith(("A Day", "B Day")) else None


def school_of_the_year(mended: bool) -> School:
    """The year as its own list of days off gives it; `mended` puts the typed year of one date right."""
    rows = data("calendars/us-southkitsap-offdays-2023-2024.txt").read_text(encoding="utf-8").splitlines()
    marked = [(date.fromisoformat(day), flag, why) for day, flag, why in (r.split("|") for r in rows)]
    if mended:
        marked = [
            (d.replace(year=2024) if d == date(2023, 1, 1) else d, flag, why) for d, flag, why in marked
        ]
    first, last = (next(d for d, flag, _ in marked if flag == letter) for letter in "FL")
    return school_of(
        USUAL,
        PACIFIC,
        week=WEEKDAYS,
        terms=(Span(first, last),),
        closures=tuple(Span(d, d, why) for d, flag, why in marked if not flag),
        rotation=Rotation(("A", "B"), first, {d: "A" for d, flag, _ in marked if flag == "R"}),
    )


def differing(school: School, notices: tuple[Notice, ...] = ()) -> list[date]:
    return [
        day
        for day, summary in published_days().items()
        if cycle_day(school, day, notices) != published_label(summary)
    ]


def test_all_208_published_days_come_out_as_published():
    days = published_days()
    assert len(days) == 208
    school = school_of_the_year(mended=False)
    assert differing(school) == []
    for day, summary in days.items():
        found = school_day(school, day)
        if published_label(summary):
            assert isinstance(found, SchoolDay)
        else:
            assert isinstance(found, NoSchool)
            assert found.reason in (summary, "no school on Saturdays", "no school on Sundays")


def test_no_school_day_of_the_year_is_missing_from_the_published_ones():
    school, days = school_of_the_year(mended=False), published_days()
    year = (date(2023, 9, 5) + timedelta(days=n) for n in range(284))
    assert [d for d in year if isinstance(school_day(school, d), SchoolDay) and d not in days] == []


def test_the_mistyped_year_of_a_holiday_is_noticed():
    assert [s.first for s in stray_dates(school_of_the_year(mended=False))] == [date(2023, 1, 1)]
    assert stray_dates(school_of_the_year(mended=True)) == ()


def test_with_the_year_mended_the_cycle_differs_only_until_the_restart():
    wrong = differing(school_of_the_year(mended=True))
    assert wrong[0] == date(2024, 1, 1)
    assert wrong[-1] == date(2024, 1, 26)
    assert len(wrong) == 1 + 16
    assert cycle_day(school_of_the_year(mended=True), date(2024, 1, 30)) == "A"


def test_a_snow_day_moves_the_published_labels_until_the_restart():
    snow = Notice(
        "nt-1",
        NoticeKind.CLOSED,
        date(2024, 1, 9),
        date(2024, 1, 9),
        "o-plum",
        datetime(2024, 1, 9, 13, tzinfo=UTC),
    )
    wrong = differing(school_of_the_year(mended=False), (snow,))
    assert (wrong[0], wrong[-1]) == (date(2024, 1, 9), date(2024, 1, 26))
    assert cycle_day(school_of_the_year(mended=False), date(2024, 1, 10), (snow,)) == "B"


def inclusive_spans() -> list[tuple[Span, str]]:
    events = json.loads(data("calendars/us-nj-livingston-2026-2027.json").read_text(encoding="utf-8"))[
        "events"
    ]
    return [
        (
            Span(
                date.fromisoformat(e.get("startDate") or e["date"]),
                date.fromisoformat(e.get("endDate") or e["date"]),
                e["title"],
            ),
            e["type"],
        )
        for e in events
    ]


CLOSED = {"holiday", "break", "no-school"}


def school_of_inclusive_spans() -> School:
    spans = inclusive_spans()
    first, last = (next(s.first for s, kind in spans if kind == name) for name in ("first-day", "last-day"))
    closures = tuple(s for s, kind in spans if kind in CLOSED)
    return school_of(USUAL, EASTERN, week=WEEKDAYS, terms=(Span(first, last),), closures=closures)


def test_inclusive_ends_and_exclusive_ends_of_one_district_close_the_same_days():
    text = data("calendars/us-nj-livingston-2026-2027.ics").read_text(encoding="utf-8")
    closed_by_file = set()
    for event in all_day_events(text):
        if event["CATEGORIES"] in CLOSED:
            first, end = (date.fromisoformat(event[k]) for k in ("DTSTART", "DTEND"))
            closed_by_file |= {first + timedelta(days=n) for n in range((end - first).days)}
    school = school_of_inclusive_spans()
    (term,) = school.terms
    year = [term.first + timedelta(days=n) for n in range((term.last - term.first).days + 1)]
    shut = {d for d in year if d.isoweekday() < 6 and isinstance(school_day(school, d), NoSchool)}
    assert shut == {d for d in closed_by_file if term.first <= d <= term.last and d.isoweekday() < 6}
    assert date(2026, 11, 27) in shut, "the last day of a break is part of it"


def test_a_closure_before_the_first_day_of_school_is_pointed_out():
    assert [s.first for s in stray_dates(school_of_inclusive_spans())] == [date(2026, 8, 26)]


def test_days_whose_times_the_file_does_not_say_stay_ordinary_until_a_person_says_more():
    unsaid = [s for s, kind in inclusive_spans() if kind in ("early-dismissal", "school")]
    school = school_of_inclusive_spans()
    for span in unsaid:
        found = school_day(school, span.first)
        assert isinstance(found, SchoolDay)
        assert found.day_type == "usual"


def test_dates_dressed_as_instants_are_dates_wherever_the_school_is():
    raw = json.loads(data("calendars/de-laender-schulferien-2026.json").read_text(encoding="utf-8"))
    for row in raw:
        first, last = (date.fromisoformat(row[k][:10]) for k in ("start", "end"))
        for zone in (PACIFIC, "Europe/Berlin", "Pacific/Auckland"):
            school = school_of(
                USUAL,
                zone,
                week=dict.fromkeys(range(1, 8), "usual"),
                closures=(Span(first, last, row["name"]),),
            )
            around = [first - timedelta(days=1), first, last, last + timedelta(days=1)]
            assert [isinstance(school_day(school, d), NoSchool) for d in around] == [False, True, True, False]
