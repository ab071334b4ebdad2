"""How a line of text is read as a notice."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from days_made import adult, district, made_school, student

from service.core.district import Role, RoleAt
from service.core.notices import Notice, NoticeError, NoticeKind, read_notice

WEDNESDAY = date(2026, 11, 25)
AT = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)

HERE = made_school(groups=("north",))
THERE = made_school(id="mill-lane", name="Mill Lane School", groups=("north", "east side"))
FAR = made_school(id="far-field", name="Far Field School")
DISTRICT = district(
    student("s-110"),
    student("s-104", school="mill-lane"),
    student("s-104-2", alias="S-Lark", school="far-field"),
    schools=(HERE, THERE, FAR),
    people=(
        adult("c-green", roles=(RoleAt(Role.COORDINATOR),)),
        adult("o-plum", name="Ida Plum", roles=(RoleAt(Role.OFFICE, ("mill-lane",)),)),
        adult("v-both", name="Jo Reed", roles=(RoleAt(Role.VISITING, ("far-field", "hollow-road")),)),
        adult("v-same", name="Jo Reed"),
    ),
)


def read(text: str, by: str = "o-plum", school: str | None = None) -> Notice:
    found = read_notice(text, DISTRICT, by, AT, WEDNESDAY, school=school)
    assert isinstance(found, Notice), found
    return found


def refused(text: str, by: str = "o-plum") -> NoticeError:
    found = read_notice(text, DISTRICT, by, AT, WEDNESDAY)
    assert isinstance(found, NoticeError), found
    return found


def dates(text: str) -> tuple[date, date]:
    found = read(text)
    return found.first, found.last


def test_closed_alone_means_today():
    found = read("closed")
    assert (found.kind, found.first, found.last) == (NoticeKind.CLOSED, WEDNESDAY, WEDNESDAY)
    assert (found.by, found.at, found.text) == ("o-plum", AT, "closed")


@pytest.mark.parametrize(
    "text",
    ["closed 2026-12-01", "2026-12-01 closed", "Closed on 2026-12-01.", "closed Tuesday", "Tuesday closed"],
)
def test_a_date_may_stand_before_or_after(text: str):
    assert dates(text) == (date(2026, 12, 1), date(2026, 12, 1))


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("closed 2026-12-01..2026-12-03", date(2026, 12, 1), date(2026, 12, 3)),
        ("closed tomorrow", date(2026, 11, 26), date(2026, 11, 26)),
        ("closed tomorrow..Friday", date(2026, 11, 26), date(2026, 11, 27)),
        ("closed until Friday", WEDNESDAY, date(2026, 11, 27)),
        ("closed from Monday until 2026-12-02", date(2026, 11, 30), date(2026, 12, 2)),
        ("closed Wednesday", WEDNESDAY, WEDNESDAY),
    ],
)
def test_ranges_and_weekdays(text: str, first: date, last: date):
    assert dates(text) == (first, last)


@pytest.mark.parametrize(
    ("text", "length"),
    [
        ("delay 2 h", timedelta(hours=2)),
        ("delay 2h", timedelta(hours=2)),
        ("delay 90 min", timedelta(minutes=90)),
        ("delay 1 h 30 min", timedelta(minutes=90)),
        ("tomorrow delay 1 hour", timedelta(hours=1)),
    ],
)
def test_a_delay_says_how_long(text: str, length: timedelta):
    assert read(text).delay == length


@pytest.mark.parametrize("text", ["early end 11:30", "early end at 11:30", "Early End 11:30 today"])
def test_an_early_end_says_when(text: str):
    found = read(text)
    assert (found.kind, found.ends) == (NoticeKind.EARLY_END, time(11, 30))


def test_an_adult_or_a_student_can_be_away():
    assert read("away l-teal until Friday").person == "l-teal"
    assert read("away l-teal until Friday").last == date(2026, 11, 27)
    assert read("away s-110").student == "s-110"
    assert read("back s-110").kind is NoticeKind.BACK


def test_people_may_be_named_by_name_or_alias():
    assert read("away Ida Plum tomorrow").person == "o-plum"
    assert read("away S-110").student == "s-110"


def test_a_swap_names_two_adults():
    found = read("swap l-teal for a-moss on Friday")
    assert (found.person, found.other, found.first) == ("l-teal", "a-moss", date(2026, 11, 27))


def test_a_notice_about_people_holds_wherever_they_are_needed():
    assert read("away l-teal").schools == ()
    assert read("swap l-teal for a-moss").schools == ()


@pytest.mark.parametrize(
    ("text", "schools"),
    [
        ("closed at hollow-road", ("hollow-road",)),
        ("closed at Mill Lane School tomorrow", ("mill-lane",)),
        ("closed at north", ("hollow-road", "mill-lane")),
        ("delay 2 h at east side", ("mill-lane",)),
        ("closed at all", ()),
        ("early end at 11:30 at far-field", ("far-field",)),
    ],
)
def test_a_notice_names_a_school_a_group_or_all(text: str, schools: tuple[str, ...]):
    assert read(text).schools == schools


def test_without_a_school_the_authors_own_are_meant():
    assert read("closed", by="o-plum").schools == ("mill-lane",)
    assert read("closed", by="v-both").schools == ("hollow-road", "far-field")


def test_the_school_it_was_given_at_counts_before_the_authors_own():
    assert read("closed", by="c-green", school="far-field").schools == ("far-field",)
    assert read("closed at mill-lane", by="c-green", school="far-field").schools == ("mill-lane",)


def test_nobody_closes_a_whole_district_by_leaving_the_school_out():
    assert refused("closed", by="c-green") == NoticeError(
        "it does not say at which school", "add at SCHOOL, at GROUP or at all"
    )


def test_in_a_district_of_one_school_there_is_nothing_to_say():
    found = read_notice("closed", district(), "c-green", AT, WEDNESDAY)
    assert isinstance(found, Notice)
    assert found.schools == ("hollow-road",)


@pytest.mark.parametrize(
    ("text", "wrong", "right"),
    [
        ("", "the notice says nothing", "closed"),
        ("closed?", "“closed?” is not a notice", "perhaps closed"),
        ("not closed", "“not” is not a notice", "one of closed"),
        ("closed " * 100, "the notice is too long", "one line"),
        ("closd", "“closd” is not a notice", "perhaps closed"),
        ("closed 2027-02-30", "there is no day 2027-02-30", "2026-12-01"),
        ("closed 2026-11-24", "2026-11-24 is past", "2026-11-25"),
        ("closed 2028-01-04", "more than a year off", "check the year"),
        ("closed 2026-12-03..2026-12-01", "2026-12-01 comes before 2026-12-03", "earlier date first"),
        ("closed tomorrow Friday", "more than one date", "range"),
        ("closed 2026-12-01..soon", "“2026-12-01..soon” is not a range", "tomorrow"),
        ("away l-teal until soon", "“soon” after “until” is not a date", "weekday"),
        ("closed snow", "“snow” after “closed” is not understood", "closed, with a date"),
        ("snow tomorrow", "“snow” is not a notice", "one of closed, delay, early end"),
        ("closed at nowhere", "no school or group is called “nowhere”", "a group, or all"),
        ("closed at holow-road", "no school or group is called “holow-road”", "perhaps hollow-road"),
        ("delay", "no length is given", "delay 2 h"),
        ("delay soon", "“soon” is not a length of time", "delay 90 min"),
        ("delay 0 min", "a delay of 0 min is not possible", "more than 0 min"),
        ("delay 9 h", "a delay of 9 h is not possible", "at most 8 h"),
        ("early end", "no time is given", "24-hour"),
        ("early end noon", "“noon” is not a time of day", "13:30"),
        ("early end 1:30", "1:30 is in the night", "24-hour"),
        ("early end 24:00", "there is no time 24:00", "13:30"),
        ("away", "it does not say who is away", "id of an adult or a student"),
        ("away l-tea", "no adult is called “l-tea”", "perhaps l-teal"),
        ("away jo reed", "fits more than one adult", "v-both, v-same"),
        ("swap l-teal", "who swaps with whom", "swap A for B"),
        ("swap l-teal for l-teal", "cannot swap with themselves", "two adults"),
        ("swap l-teal for s-110", "no adult is called “s-110”", "the id of one adult"),
    ],
)
def test_what_cannot_be_understood_is_answered_with_what_would_be_right(text: str, wrong: str, right: str):
    found = refused(text)
    assert wrong in found.wrong
    assert right in found.right


def test_an_id_counts_before_an_alias_that_looks_like_one():
    assert read("away s-104").student == "s-104"


def test_the_same_line_by_the_same_person_at_the_same_second_is_the_same_notice():
    assert read("closed").id == read("closed").id
    assert read("closed").id != read("closed tomorrow").id
    assert read("closed").id.startswith("nt-20261125T120000Z-o-plum-")
