"""Who asks in place of whom."""

from datetime import date, time, timedelta

import pytest
from days_made import MONDAY, adult, district, notice, routine, student

from service.core.days import school_day
from service.core.district import Deputy, District, Hours, Person, Span
from service.core.notices import NoticeKind
from service.core.routines import rounds

ABSENT = notice(NoticeKind.AWAY, person="l-teal")
SECOND_ABSENT = notice(NoticeKind.AWAY, person="a-moss")


def asked(whole: District, *notices, day: date = MONDAY) -> tuple[str, str | None]:
    (found,) = rounds(whole, school_day(whole.schools["hollow-road"], day, notices), notices)
    return found.checker, found.second


def with_teal(**changes) -> District:
    return district(student("wren"), people=(adult("l-teal", **changes), adult("d-rowan"), adult("d-birch")))


def swap(person: str, other: str, **changes):
    return notice(NoticeKind.SWAP, person=person, other=other, **changes)


def test_the_checker_is_asked_and_the_second_stands_behind():
    assert asked(with_teal()) == ("l-teal", "a-moss")


def test_the_second_is_asked_when_the_checker_is_away_and_has_no_second_then():
    assert asked(with_teal(), ABSENT) == ("a-moss", None)


def test_a_general_deputy_comes_before_the_second():
    assert asked(with_teal(deputies=(Deputy("d-rowan"),)), ABSENT) == ("d-rowan", "a-moss")


def test_a_general_deputy_has_nothing_to_do_while_the_checker_is_there():
    assert asked(with_teal(deputies=(Deputy("d-rowan"),))) == ("l-teal", "a-moss")


def test_a_dated_deputy_stands_in_on_those_dates_without_more_being_said():
    whole = with_teal(deputies=(Deputy("d-rowan", Span(MONDAY, MONDAY)),))
    assert asked(whole) == ("d-rowan", "a-moss")
    assert asked(whole, day=date(2026, 12, 1)) == ("l-teal", "a-moss")


def test_a_dated_deputy_comes_before_a_general_one():
    whole = with_teal(deputies=(Deputy("d-birch"), Deputy("d-rowan", Span(MONDAY, MONDAY))))
    assert asked(whole, ABSENT) == ("d-rowan", "a-moss")


def test_when_a_deputy_is_away_too_the_next_one_stands_in():
    whole = with_teal(deputies=(Deputy("d-rowan"), Deputy("d-birch")))
    assert asked(whole, ABSENT, notice(NoticeKind.AWAY, person="d-rowan")) == ("d-birch", "a-moss")


def test_a_deputys_own_deputy_stands_in():
    people = (
        adult("l-teal", deputies=(Deputy("d-rowan"),)),
        adult("d-rowan", deputies=(Deputy("d-birch"),)),
        adult("d-birch"),
    )
    whole = district(student("wren"), people=people)
    assert asked(whole, ABSENT, notice(NoticeKind.AWAY, person="d-rowan")) == ("d-birch", "a-moss")


def test_deputies_in_a_circle_end_with_the_second():
    people = (adult("l-teal", deputies=(Deputy("d-rowan"),)), adult("d-rowan", deputies=(Deputy("l-teal"),)))
    whole = district(student("wren"), people=people)
    assert asked(whole, ABSENT, notice(NoticeKind.AWAY, person="d-rowan")) == ("a-moss", None)


def test_a_circle_among_deputies_ends_too():
    people = (
        adult("l-teal", deputies=(Deputy("d-rowan"),)),
        adult("d-rowan", deputies=(Deputy("d-birch"),)),
        adult("d-birch", deputies=(Deputy("d-rowan"),)),
    )
    missing = [notice(NoticeKind.AWAY, person=p) for p in ("d-rowan", "d-birch")]
    assert asked(district(student("wren"), people=people), ABSENT, *missing) == ("a-moss", None)


def test_a_deputy_who_is_the_second_has_no_second():
    assert asked(with_teal(deputies=(Deputy("a-moss"),)), ABSENT) == ("a-moss", None)


def test_with_nobody_there_the_checker_stays():
    assert asked(with_teal(), ABSENT, SECOND_ABSENT) == ("l-teal", "a-moss")


def test_with_no_second_the_checker_stays():
    assert asked(district(student("wren", routine(second=None))), ABSENT) == ("l-teal", None)


@pytest.mark.parametrize(
    "changes",
    [
        {"away": (Span(MONDAY, MONDAY),)},
        {"left_on": MONDAY},
        {"hours": Hours({2: (time(7), time(15))})},
    ],
)
def test_a_checker_can_be_missing_for_good_reason(changes):
    assert asked(with_teal(**changes)) == ("a-moss", None)


def test_a_swap_exchanges_two_checkers_for_the_day():
    whole = district(student("wren"), student("lark", routine(checker="n-slate", second=None)))
    notices = (swap("l-teal", "n-slate"),)
    found = rounds(whole, school_day(whole.schools["hollow-road"], MONDAY, notices), notices)
    assert {r.checker: [c.student for c in r.checks] for r in found} == {
        "l-teal": ["lark"],
        "n-slate": ["wren"],
    }


def test_a_swap_of_checker_and_second_turns_them_round():
    assert asked(with_teal(), swap("l-teal", "a-moss")) == ("a-moss", "l-teal")


def test_a_swap_is_for_its_day_and_its_schools():
    assert asked(with_teal(), swap("l-teal", "n-slate", first=date(2026, 12, 1))) == ("l-teal", "a-moss")
    assert asked(with_teal(), swap("l-teal", "n-slate", schools=("mill-lane",))) == ("l-teal", "a-moss")


def test_two_swaps_follow_each_other():
    later = swap("n-slate", "d-rowan", at=ABSENT.at + timedelta(minutes=1))
    assert asked(with_teal(), later, swap("l-teal", "n-slate")) == ("d-rowan", "a-moss")


def test_the_same_swap_twice_undoes_itself():
    again = swap("n-slate", "l-teal", at=ABSENT.at + timedelta(minutes=1))
    assert asked(with_teal(), swap("l-teal", "n-slate"), again) == ("l-teal", "a-moss")


def test_whoever_takes_over_in_a_swap_may_be_stood_in_for():
    people = (adult("n-slate", deputies=(Deputy("d-rowan"),)), adult("d-rowan"))
    whole = district(student("wren"), people=people)
    missing = notice(NoticeKind.AWAY, person="n-slate")
    assert asked(whole, swap("l-teal", "n-slate"), missing) == ("d-rowan", "a-moss")


def test_an_adult_whom_nobody_configured_is_still_asked():
    whole = district(student("wren"))
    without: dict[str, Person] = {}
    assert asked(District(**{**vars(whole), "people": without})) == ("l-teal", "a-moss")
