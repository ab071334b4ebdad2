"""An emergency (C16), on the machine itself."""

from dataclasses import replace

import pytest
from chains_made import CHAIN, FIRST, SCENE, SUBJECT, minutes, news, tells

from service.core.chains import (
    Answered,
    Ask,
    Chase,
    Confirmed,
    DayOver,
    Ended,
    Event,
    Found,
    Mine,
    OutOfPlace,
    Phase,
    Posted,
    Purpose,
    Report,
    SaidWorking,
    Settled,
    Standing,
    TakenBack,
    Tell,
    Time,
    Told,
    Turn,
    Why,
    WoundUp,
    begin_alarm,
    step,
)
from service.core.chains.values import End, Pending
from service.core.district import Limit, Severity

TURNS = (Turn("a", ("a", "l"), Limit()), Turn("c", ("c", "stranger"), Limit()))
REPORT = Report(Severity.EMERGENCY, ("SWALLOWED",), "l", (), ("g",))


def sounded() -> tuple[Chase, tuple[object, ...]]:
    return begin_alarm(SUBJECT, CHAIN, TURNS, REPORT, FIRST, SCENE)


def test_everyone_is_told_at_once_but_the_reporter_and_people_nobody_knows() -> None:
    alarm, effects = sounded()

    assert effects == tuple(Tell(p, 0, Purpose.ALERT, FIRST, at_once=True) for p in ("a", "c"))
    assert (alarm.phase, alarm.again_at, alarm.carries_on) == (Phase.ALARM, FIRST + minutes(5), True)
    assert (alarm.told, alarm.step, alarm.step_due) == ((Told("a", 0, FIRST), Told("c", 0, FIRST)), 0, FIRST)
    assert alarm.involved == ("l", "a", "c")
    assert (alarm.why, alarm.began, alarm.reported_at, alarm.reporter) == (Why.FAULT, FIRST, FIRST, "l")


def test_away_marks_and_hours_keep_nobody_from_being_told() -> None:
    scene = replace(SCENE, people={**SCENE.people, "a": Standing("away"), "c": Standing(hours=())})

    assert tells(begin_alarm(SUBJECT, CHAIN, TURNS, REPORT, FIRST, scene)[1]) == ["a", "c"]


def test_every_five_minutes_those_who_have_not_answered_are_told_anew() -> None:
    alarm, _ = step(sounded()[0], Answered("a"), FIRST + minutes(1), SCENE)

    assert step(alarm, Time(), FIRST + minutes(4.9), SCENE) == (alarm, ())
    again, effects = step(alarm, Time(), FIRST + minutes(5), SCENE)
    assert effects == (Tell("c", 0, Purpose.ALERT, FIRST + minutes(5), at_once=True, generation=2),)
    assert again.again_at == FIRST + minutes(10)
    third, effects = step(again, Time(), FIRST + minutes(10), SCENE)
    assert [e.generation for e in effects if isinstance(e, Tell)] == [3]
    assert third.again_at == FIRST + minutes(15)


@pytest.mark.parametrize(("late", "next_at"), [(1, 10), (2, 12)])
def test_after_downtime_the_five_minutes_run_on_from_now(late: int, next_at: int) -> None:
    again, effects = step(sounded()[0], Time(), FIRST + minutes(5 + late), SCENE)

    assert tells(effects) == ["a", "c"]
    assert again.again_at == FIRST + minutes(next_at)


@pytest.mark.parametrize("event", [Answered("a"), Mine("a", 30), SaidWorking("a")])
def test_an_answer_of_any_kind_ends_the_repeats_for_its_writer_and_nothing_else(
    event: Answered | Mine | SaidWorking,
) -> None:
    alarm, effects = step(sounded()[0], event, FIRST + minutes(1), SCENE)  # type: ignore[arg-type]

    assert effects == ()
    assert (alarm.phase, alarm.answered, alarm.is_open) == (Phase.ALARM, ("a",), True)


def test_whoever_has_answered_once_stays_answered_and_who_was_not_told_but_speaks_is_involved() -> None:
    alarm, _ = step(sounded()[0], Answered("a"), FIRST + minutes(1), SCENE)
    alarm, _ = step(alarm, Answered("g"), FIRST + minutes(2), SCENE)

    assert alarm.answered == ("a", "g")
    assert alarm.involved == ("l", "a", "c", "g")


@pytest.mark.parametrize("event", [Settled(Ended.PUT_RIGHT, "l"), TakenBack("l"), DayOver()])
def test_nothing_ordinary_ends_it(event: Event) -> None:
    alarm, _ = sounded()
    try:
        after = step(alarm, event, FIRST + minutes(1), SCENE)
    except OutOfPlace:
        after = (alarm, ())

    assert after == (alarm, ())


def test_it_ends_with_its_school_of_which_nothing_is_known_any_more() -> None:
    over, _ = step(sounded()[0], WoundUp("c"), FIRST + minutes(1), SCENE)

    assert over.end == End(Ended.NO_CHECK, FIRST + minutes(1), "c", Phase.ALARM)


@pytest.mark.parametrize("person", ["l", "g"])
def test_the_reporter_or_who_may_close_it_is_asked_whether_it_is_so(person: str) -> None:
    said, effects = step(sounded()[0], Found(person, Ended.FOUND), FIRST + minutes(3), SCENE)

    assert effects == (Ask(person, "found"),)
    assert said.pending == Pending(person, Ended.FOUND, FIRST + minutes(3))
    assert said.phase is Phase.ALARM
    assert person in said.answered


def test_anybody_elses_word_is_an_answer_and_no_more() -> None:
    said, effects = step(sounded()[0], Found("a", Ended.FOUND), FIRST + minutes(3), SCENE)

    assert effects == ()
    assert (said.pending, said.answered) == (None, ("a",))


def pending() -> Chase:
    alarm = sounded()[0]
    for person in ("a", "c"):
        alarm, _ = step(alarm, Posted(person), FIRST, SCENE)
    return step(alarm, Found("g", Ended.MEDICAL_HELP), FIRST + minutes(3), SCENE)[0]


def test_once_confirmed_by_the_same_person_it_is_over_and_all_told_hear_which() -> None:
    over, effects = step(pending(), Confirmed("g", yes=True), FIRST + minutes(4), SCENE)

    assert over.phase is Phase.OVER
    assert over.end == End(Ended.MEDICAL_HELP, FIRST + minutes(4), "g", Phase.ALARM)
    assert news(effects) == [(p, "with medical help") for p in ("l", "a", "c")]
    assert over.pending == Pending("g", Ended.MEDICAL_HELP, FIRST + minutes(3))


def test_not_confirmed_it_goes_on() -> None:
    on, effects = step(pending(), Confirmed("g", yes=False), FIRST + minutes(4), SCENE)

    assert effects == ()
    assert (on.phase, on.pending) == (Phase.ALARM, None)


@pytest.mark.parametrize("person", ["l", "a"])
def test_somebody_elses_confirmation_is_none(person: str) -> None:
    assert step(pending(), Confirmed(person, yes=True), FIRST + minutes(4), SCENE) == (pending(), ())


def test_a_confirmation_of_nothing_is_none() -> None:
    alarm, _ = sounded()

    assert step(alarm, Confirmed("l", yes=True), FIRST, SCENE) == (alarm, ())
