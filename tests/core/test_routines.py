"""The rounds of a day: who is asked about whom, and when."""

import time as stopwatch
from datetime import date, time, timedelta

import pytest
from days_made import (
    MONDAY,
    REGULAR,
    adult,
    bells,
    district,
    made_school,
    new_york,
    notice,
    open_day,
    routine,
    shut_day,
    student,
)

from service.core.days import school_day
from service.core.district import (
    Chain,
    ChainChoice,
    Contact,
    ContactKind,
    DayType,
    District,
    Limit,
    Rotation,
    Step,
    When,
)
from service.core.notices import NoticeKind
from service.core.routines import PlannedRound, Unplanned, Why, rounds, unplanned


def planned(whole: District, *notices, day: date = MONDAY, gone=()) -> tuple[PlannedRound, ...]:
    return rounds(whole, school_day(whole.schools["hollow-road"], day, notices), notices, gone)


def left_out(whole: District, *notices, day: date = MONDAY, gone=()) -> tuple[Unplanned, ...]:
    return unplanned(whole, school_day(whole.schools["hollow-road"], day, notices), notices, gone)


def before(name: str, minutes: int, **changes) -> When:
    return When(bell=name, offset=-timedelta(minutes=minutes), **changes)


def test_a_round_is_one_message_to_one_adult_at_one_minute():
    (found,) = planned(district(student("wren"), student("lark")))
    assert found.id == "rd-hollow-road-2026-11-30-0805-l-teal"
    assert (found.due, found.checker, found.second) == (new_york("08:05"), "l-teal", "a-moss")
    assert [c.id for c in found.checks] == ["ck-lark-morning-2026-11-30", "ck-wren-morning-2026-11-30"]


def test_students_are_numbered_by_room_then_alias_then_id():
    whole = district(
        student("s1", room="9", alias="Ash"),
        student("s2", room="12", alias="Wren"),
        student("s3", room="12", alias="Lark"),
        student("s0", room="12", alias="Wren"),
    )
    (found,) = planned(whole)
    assert [(c.number, c.student) for c in found.checks] == [(1, "s3"), (2, "s0"), (3, "s2"), (4, "s1")]


def test_different_adults_and_different_minutes_are_different_rounds():
    whole = district(
        student("wren", routine(checker="n-slate")),
        student("lark"),
        student("finch", routine(when=When(at=time(8, 10)))),
    )
    ids = [r.id for r in planned(whole)]
    assert ids == [
        "rd-hollow-road-2026-11-30-0805-l-teal",
        "rd-hollow-road-2026-11-30-0805-n-slate",
        "rd-hollow-road-2026-11-30-0810-l-teal",
    ]


def test_students_of_other_schools_are_in_none_of_the_rounds():
    whole = district(
        student("wren"),
        student("lark", school="mill-lane"),
        schools=(made_school(), made_school(id="mill-lane")),
    )
    assert [c.student for r in planned(whole) for c in r.checks] == ["wren"]


def test_a_check_hangs_on_a_bell():
    whole = district(student("wren", routine(when=before("Period 2", 10))))
    assert planned(whole)[0].due == new_york("08:55")


def test_a_check_may_hang_on_the_end_of_a_bell():
    whole = district(
        student("wren", routine(when=When(bell="Period 1", edge="end", offset=timedelta(minutes=5))))
    )
    assert planned(whole)[0].due == new_york("09:05")


def test_a_check_follows_the_students_own_variant():
    own = {"lunch B": bells(("Lunch", "12:30", "13:00"))}
    school = made_school(day_types={"regular": DayType("regular", REGULAR.bells, own)})
    whole = district(student("wren", routine(when=before("Lunch", 5, variant="lunch B"))), schools=(school,))
    assert planned(whole)[0].due == new_york("12:25")


def test_a_check_is_due_in_its_minute():
    whole = district(student("wren", routine(when=When(at=time(8, 5, 30)))), student("lark"))
    (found,) = planned(whole)
    assert found.due == new_york("08:05")


def test_a_day_without_school_has_no_rounds():
    whole = district(student("wren"))
    shut = shut_day(made_school(), date(2026, 11, 28))
    assert rounds(whole, shut) == ()
    assert unplanned(whole, shut) == ()
    assert planned(whole, notice(NoticeKind.CLOSED)) == ()


def test_an_away_student_makes_no_check_and_is_listed():
    whole = district(student("wren"), student("lark"))
    absent = notice(NoticeKind.AWAY, student="wren")
    (found,) = planned(whole, absent)
    assert [(c.number, c.student) for c in found.checks] == [(1, "lark")]
    assert left_out(whole, absent) == (Unplanned("wren", "morning", Why.AWAY),)


def test_a_student_who_is_back_is_asked_about_again():
    absent = notice(NoticeKind.AWAY, student="wren")
    returned = notice(NoticeKind.BACK, student="wren", at=new_york("07:00"))
    assert planned(district(student("wren")), absent, returned)[0].checks[0].student == "wren"


def test_whoever_is_gone_counts_as_away():
    whole = district(student("wren"), student("lark"))
    (found,) = planned(whole, gone={"wren", "l-teal"})
    assert (found.checker, [c.student for c in found.checks]) == ("a-moss", ["lark"])


def test_a_routine_of_certain_weekdays_is_for_those_alone():
    whole = district(student("wren", routine(weekdays=(2,))))
    assert planned(whole) == ()
    assert left_out(whole) == ()
    assert planned(whole, day=date(2026, 12, 1))


def test_a_routine_of_certain_cycle_days_is_for_those_alone():
    school = made_school(rotation=Rotation(("A", "B"), MONDAY))
    whole = district(student("wren", routine(cycle_days=("B",))), schools=(school,))
    assert planned(whole) == ()
    assert left_out(whole) == ()
    assert planned(whole, day=date(2026, 12, 1))


def test_a_routine_of_cycle_days_waits_with_the_cycle_on_a_snow_day():
    school = made_school(rotation=Rotation(("A", "B"), MONDAY))
    whole = district(student("wren", routine(cycle_days=("B",))), schools=(school,))
    snow = notice(NoticeKind.CLOSED, date(2026, 12, 1))
    assert planned(whole, snow, day=date(2026, 12, 1)) == ()
    assert planned(whole, snow, day=date(2026, 12, 2))


@pytest.mark.parametrize(
    ("when", "why"),
    [
        (When(bell="Period 9"), Why.NO_BELL),
        (When(at=time(6, 59)), Why.TOO_EARLY),
        (When(at=time(15, 0)), Why.TOO_LATE),
        (When(at=time(17, 0)), Why.TOO_LATE),
    ],
)
def test_a_routine_that_cannot_be_asked_is_listed_with_the_reason(when: When, why: Why):
    whole = district(student("wren", routine(when=when)))
    assert planned(whole) == ()
    assert left_out(whole) == (Unplanned("wren", "morning", why),)


def test_a_check_may_be_due_an_hour_before_the_first_bell():
    assert planned(district(student("wren", routine(when=When(at=time(7, 0))))))[0].due == new_york("07:00")


def test_a_delay_moves_what_is_asked_with_the_bells():
    whole = district(student("wren"), student("lark", routine(when=before("Period 1", 5))))
    late = notice(NoticeKind.DELAY, delay=timedelta(hours=2))
    assert [r.due for r in planned(whole, late)] == [new_york("10:05"), new_york("10:10")]


def test_a_delay_keeps_the_ids_of_the_checks():
    whole = district(student("wren"))
    late = notice(NoticeKind.DELAY, delay=timedelta(hours=2))
    assert planned(whole)[0].checks == planned(whole, late)[0].checks


def test_an_early_end_leaves_out_what_would_come_after_it():
    whole = district(student("wren", routine(), routine("midday", when=When(at=time(13, 0)), kind="midday")))
    early = notice(NoticeKind.EARLY_END, ends=time(11, 30))
    assert [c.routine for r in planned(whole, early) for c in r.checks] == ["morning"]
    assert left_out(whole, early) == (Unplanned("wren", "midday", Why.TOO_LATE),)


def test_one_adult_is_not_asked_twice_about_one_student_in_one_message():
    whole = district(student("wren", routine(), routine("weekly", kind="full")))
    (found,) = planned(whole)
    assert [(c.routine, c.kind) for c in found.checks] == [("weekly", "full")]
    assert left_out(whole) == (Unplanned("wren", "morning", Why.ASKED_ALREADY),)


def test_one_adult_is_not_asked_the_same_again_within_ten_minutes():
    soon = routine("again", when=before("Period 1", 0))
    assert [c.routine for r in planned(district(student("wren", soon, routine()))) for c in r.checks] == [
        "morning"
    ]


@pytest.mark.parametrize(
    "other",
    [
        routine("later", when=When(at=time(8, 16))),
        routine("other kind", when=When(at=time(8, 15)), kind="midday"),
        routine("other adult", checker="n-slate"),
    ],
)
def test_what_is_not_the_same_question_is_asked(other):
    asked = planned(district(student("wren", routine(), other)))
    assert sorted(c.routine for r in asked for c in r.checks) == sorted(["morning", other.id])


def test_two_routines_that_fall_to_one_stand_in_are_asked_once():
    whole = district(student("wren", routine(), routine("resource", checker="a-moss", second=None)))
    absent = notice(NoticeKind.AWAY, person="l-teal")
    (found,) = planned(whole, absent)
    assert (found.checker, [c.routine for c in found.checks]) == ("a-moss", ["morning"])


def silence(limit: Limit) -> dict[str, Chain]:
    steps = (
        Step(Contact(ContactKind.CHECKER), limit),
        Step(Contact(ContactKind.SECOND), Limit(timedelta(minutes=5))),
    )
    return {"quiet": Chain("quiet", steps)}


@pytest.mark.parametrize(
    ("limit", "answer_by"),
    [
        (Limit(timedelta(minutes=15)), "08:20"),
        (Limit(bell="Period 1"), "08:15"),
        (Limit(bell="Period 1", edge="end"), "09:00"),
        (Limit(bell="Homeroom", otherwise=timedelta(minutes=12)), "08:17"),
        (Limit(bell="Period 9", otherwise=timedelta(minutes=12)), "08:17"),
        (Limit(), "15:00"),
    ],
)
def test_a_round_is_to_be_answered_before_the_next_person_is_told(limit: Limit, answer_by: str):
    whole = district(student("wren"), chains=silence(limit), choice=ChainChoice(silence="quiet"))
    assert planned(whole)[0].answer_by == new_york(answer_by)


@pytest.mark.parametrize(("due", "answer_by"), [(time(8, 5), "08:10"), (time(8, 6), "08:18")])
def test_a_bell_less_than_five_minutes_off_is_no_limit(due: time, answer_by: str):
    chains = silence(Limit(bell="Homeroom", edge="end", otherwise=timedelta(minutes=12)))
    asked = student("wren", routine(when=When(at=due)))
    whole = district(asked, chains=chains, choice=ChainChoice(silence="quiet"))
    assert planned(whole)[0].answer_by == new_york(answer_by)


def test_the_shortest_limit_of_a_rounds_students_is_when_it_is_to_be_answered():
    chains = {**silence(Limit(timedelta(minutes=15))), "short": silence(Limit(timedelta(minutes=6)))["quiet"]}
    whole = district(
        student("wren"),
        student("lark", chains=ChainChoice(silence="short")),
        chains=chains,
        choice=ChainChoice(silence="quiet"),
    )
    assert planned(whole)[0].answer_by == new_york("08:11")


def test_without_a_chain_a_round_can_be_answered_until_the_last_bell():
    assert planned(district(student("wren")))[0].answer_by == new_york("15:00")


def test_each_check_keeps_the_students_own_second():
    whole = district(
        student("lark", routine(second=None)), student("wren", routine(second="n-slate")), student("ash")
    )
    (found,) = planned(whole)
    assert [c.second for c in found.checks] == ["a-moss", None, "n-slate"]
    assert found.second == "a-moss"


def test_each_school_asks_about_its_own_students():
    whole = district(
        student("wren"),
        student("lark", school="mill-lane"),
        schools=(made_school(), made_school(id="mill-lane")),
    )
    found = {school.id: rounds(whole, open_day(school)) for school in whole.schools.values()}
    assert {id: [c.student for r in each for c in r.checks] for id, each in found.items()} == {
        made_school().id: ["wren"],
        "mill-lane": ["lark"],
    }


def test_a_hundred_thousand_students_are_planned_in_seconds():
    schools = tuple(made_school(id=f"school-{n}") for n in range(40))
    pupils = [
        student(f"s{n}", routine(checker=f"p{n // 5}"), school=f"school-{n // 2500}", alias=f"A{n}")
        for n in range(100_000)
    ]
    whole = district(*pupils, schools=schools, people=tuple(adult(f"p{n}") for n in range(20_000)))
    began = stopwatch.process_time()
    checks = sum(len(r.checks) for s in schools for r in rounds(whole, open_day(s)))
    assert checks == 100_000
    assert (
        stopwatch.process_time() - began < 5
    )  # about 1.3 s on two shared cores; wide, because machines differ
