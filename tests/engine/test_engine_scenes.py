"""How each person can be reached on a day (C4), from configuration and notices alone."""

from datetime import date, time, timedelta

import pytest

from service.core.chains import Standing
from service.core.district import Deputy, Hours, Person, Reachable, Span
from service.core.notices import NoticeKind
from service.core.outlook import Plan
from service.engine.scenes import Standings, next_first, scene_of
from tests.core.days_made import FRIDAY, MONDAY, adult, district, made_school, new_york, notice

CHAT = (Reachable("chat", "a-room"),)
SCHOOL = "hollow-road"
DAY = timedelta(days=1)


def standing(person: Person, *notices, on: date = MONDAY, gone: frozenset[str] = frozenset()) -> Standing:
    plan = Plan(district(people=(person,)), notices)
    return Standings(plan, SCHOOL, on, gone)[person.id]


def test_a_person_with_a_way_to_reach_them_can_be_told_at_any_hour() -> None:
    assert standing(adult("r-fern", channels=CHAT)) == Standing()


@pytest.mark.parametrize(
    ("left_on", "reason"), [(MONDAY - DAY, "away"), (MONDAY, "away"), (MONDAY + DAY, None)]
)
def test_c4_whoever_has_left_the_district_is_passed_over_from_their_last_date_on(
    left_on: date, reason: str | None
) -> None:
    assert standing(adult("r-fern", channels=CHAT, left_on=left_on)).reason == reason


def test_c4_whoever_is_away_by_the_folder_or_by_a_notice_is_passed_over() -> None:
    by_folder = adult("r-fern", channels=CHAT, away=(Span(MONDAY, MONDAY),))
    today = notice(NoticeKind.AWAY, person="r-fern")

    assert standing(by_folder).reason == "away"
    assert standing(adult("r-fern", channels=CHAT), today).reason == "away"
    assert standing(by_folder, on=MONDAY + DAY).reason is None


@pytest.mark.parametrize("changes", [{"away": (Span(MONDAY, FRIDAY),)}, {"left_on": MONDAY}])
def test_who_stands_in_for_somebody_away_or_gone_is_known(changes: dict[str, object]) -> None:
    only_tomorrow = Deputy("n-slate", Span(MONDAY + DAY, MONDAY + DAY))
    person = adult(
        "r-fern", channels=CHAT, deputies=(Deputy("r-fern"), only_tomorrow, Deputy("a-moss")), **changes
    )

    assert standing(person).deputies == ("a-moss",)
    assert standing(person, on=MONDAY + DAY).deputies == ("n-slate", "a-moss")
    assert standing(adult("r-fern", channels=CHAT, **changes)).deputies == ()


def test_c4_who_has_no_working_channel_is_passed_over() -> None:
    both = (*CHAT, Reachable("mail", "fern@school.example"))

    assert standing(adult("r-fern")).reason == "no_channel"
    assert (
        standing(adult("r-fern", channels=CHAT), gone=frozenset({"gone/r-fern/chat"})).reason == "no_channel"
    )
    assert standing(adult("r-fern", channels=CHAT), gone=frozenset({"gone/a-moss/chat"})).reason is None
    assert standing(adult("r-fern", channels=both), gone=frozenset({"gone/r-fern/chat"})).reason is None


def test_nobody_outside_the_district_is_written_to_without_their_consent() -> None:
    assert standing(adult("g-fern", channels=CHAT, outside=True)).reason == "no_channel"
    assert standing(adult("g-fern", channels=CHAT, outside=True, consent=MONDAY)).reason is None
    assert standing(adult("r-fern", channels=CHAT, consent=None)).reason is None


def test_hours_are_those_of_the_schools_own_clock_on_the_days_at_work() -> None:
    person = adult("r-fern", channels=CHAT, hours=Hours({1: (time(7, 30), time(15)), 2: (time(9), time(12))}))

    assert standing(person).hours == (
        (new_york("07:30"), new_york("15:00")),
        (new_york("09:00") + DAY, new_york("12:00") + DAY),
    )
    assert standing(person, on=MONDAY + DAY).hours == standing(person).hours


def test_only_people_of_the_folder_are_known() -> None:
    people = Standings(Plan(district()), SCHOOL, MONDAY, frozenset())

    assert sorted(people) == ["a-moss", "l-teal", "n-slate"]
    assert len(people) == 3
    assert "a-moss" in people
    assert "stranger" not in people


def test_a_scene_has_the_days_edges_its_bells_and_the_next_school_days_first_bell() -> None:
    scene = scene_of(Plan(district()), SCHOOL, FRIDAY, frozenset(), {})

    monday = FRIDAY + 3 * DAY
    assert (scene.first, scene.last) == (new_york("08:00", FRIDAY), new_york("15:00", FRIDAY))
    assert scene.next_first == new_york("08:00", monday)
    assert scene.bells["Period 1", "start"] == new_york("08:15", FRIDAY)
    assert scene.bells["Period 1", "end"] == new_york("09:00", FRIDAY)


def test_a_day_without_school_is_empty_and_ends_at_once() -> None:
    scene = scene_of(Plan(district()), SCHOOL, FRIDAY + DAY, frozenset(), {})

    assert scene.first == scene.last == new_york("00:00", FRIDAY + DAY)
    assert scene.bells == {}


def test_after_the_last_term_there_is_no_next_school_day() -> None:
    ends = made_school(terms=(Span(MONDAY, FRIDAY, "the week"),))

    assert next_first(Plan(district(schools=(ends,))), SCHOOL, FRIDAY) is None
