"""The day's end, the night and the next morning (C12, C14), on the machine itself."""

from dataclasses import replace

import pytest
from chains_made import CHAIN, FIRST, SCENE, SUBJECT, fault, minutes, news, silence, tells

from service.core.chains import (
    Accepted,
    Again,
    Ask,
    Cannot,
    Chase,
    DayOver,
    Ended,
    Mine,
    Over,
    Phase,
    Purpose,
    Report,
    SaidWorking,
    Scene,
    Standing,
    Tell,
    Time,
    Turn,
    Withdraw,
    begin_fault,
    step,
)
from service.core.chains.climb import next_contact
from service.core.chains.values import End
from service.core.district import Chain, Limit, Severity

TWENTY = Limit(minutes(20))
LAST = SCENE.last
MORNING = FIRST.replace(day=6) - SCENE.settings.overnight_lead


def asked(accepted: bool) -> Chase:
    chase = silence(TWENTY, TWENTY)
    return step(chase, Accepted("l"), FIRST, SCENE)[0] if accepted else chase


@pytest.mark.parametrize(("accepted", "how"), [(True, Ended.UNANSWERED), (False, Ended.NOT_ASKED)])
def test_c12_silence_ends_with_the_day_and_is_held_against_nobody_whom_nothing_reached(
    accepted: bool, how: Ended
) -> None:
    over, effects = step(asked(accepted), DayOver(), LAST, SCENE)

    assert effects == (Withdraw("l", "day_over"), Over(how, None))
    assert over.end == End(how, LAST, None, Phase.CLIMBING)
    assert over.phase is Phase.OVER


def test_c12_an_open_fault_sleeps_without_a_word_until_before_the_next_first_bell() -> None:
    night, effects = step(fault(TWENTY, TWENTY, now=LAST - minutes(5)), DayOver(), LAST, SCENE)

    assert effects == ()
    assert (night.phase, night.resume_at, night.remaining) == (Phase.HOLDING, MORNING, minutes(15))
    assert (night.next_due, night.reminders_due, night.in_hand, night.again_at) == (None, (), None, None)


def test_c12_the_last_minute_of_a_limit_is_not_left_for_the_morning_once_it_is_over() -> None:
    night, _ = step(fault(TWENTY, TWENTY, now=LAST - minutes(20)), DayOver(), LAST, SCENE)

    assert night.remaining is None


def test_c12_nobody_is_woken_before_the_morning() -> None:
    chase, _ = step(fault(TWENTY, TWENTY, now=LAST - minutes(5)), Accepted("a"), LAST - minutes(5), SCENE)
    night, _ = step(chase, DayOver(), LAST, SCENE)

    assert step(night, Time(), MORNING - minutes(1), SCENE) == (night, ())
    morning, effects = step(night, Time(), MORNING, SCENE)
    assert effects == ()
    assert (morning.phase, morning.step_due, morning.next_due) == (
        Phase.CLIMBING, MORNING, MORNING + minutes(15)
    )  # fmt: skip
    assert (morning.resume_at, morning.remaining) == (None, None)


def test_c12_a_limit_that_ended_with_the_day_is_over_in_the_morning() -> None:
    chase, _ = step(fault(Limit(), TWENTY), Accepted("a"), FIRST, SCENE)
    night, _ = step(chase, DayOver(), LAST, SCENE)
    morning, effects = step(night, Time(), MORNING, SCENE)

    assert tells(effects) == ["c"]
    assert morning.next_due == MORNING + minutes(20)


def test_c12_the_last_contact_keeps_a_limit_without_an_end() -> None:
    chase, _ = step(fault(Limit()), Accepted("a"), FIRST, SCENE)
    night, _ = step(chase, DayOver(), LAST, SCENE)
    morning, effects = step(night, Time(), MORNING, SCENE)

    assert effects == ()
    assert (morning.phase, morning.step, morning.next_due) == (Phase.CLIMBING, 0, None)


def test_c12_a_promise_that_ran_until_the_last_bell_is_asked_about_in_the_morning() -> None:
    held, _ = step(fault(TWENTY, TWENTY), Mine("a", 60), LAST - minutes(30), SCENE)
    night, _ = step(held, DayOver(), LAST, SCENE)

    assert night.in_hand == held.in_hand
    assert tells(step(night, Time(), MORNING, SCENE)[1]) == ["c"]


def test_c12_a_promise_beside_the_climb_does_not_sleep_with_it() -> None:
    chase = replace(fault(TWENTY, TWENTY, now=LAST - minutes(5)), promises={"a": 2})
    beside, _ = step(chase, Mine("a", 30), LAST - minutes(4), SCENE)
    assert beside.in_hand is not None

    assert step(beside, DayOver(), LAST, SCENE)[0].in_hand is None


def test_c12_a_first_remedy_is_not_waited_for_over_night_and_its_contact_is_told_in_the_morning() -> None:
    turns = (Turn("a", ("a",), TWENTY),)
    report = Report(Severity.SAME_DAY, ("BAT",), "l")
    late = LAST - minutes(5)
    trying, _ = begin_fault(SUBJECT, CHAIN, turns, report, minutes(10), (), late, SCENE)
    night, _ = step(trying, DayOver(), LAST, SCENE)

    assert (night.phase, night.try_until) == (Phase.HOLDING, None)
    assert tells(step(night, Time(), MORNING, SCENE)[1]) == ["a"]


def test_c12_where_there_is_no_next_school_day_a_fault_goes_on_today() -> None:
    scene = replace(SCENE, next_first=None)
    chase = fault(TWENTY, TWENTY, now=LAST - minutes(5))

    assert step(chase, DayOver(), LAST, scene) == (chase, ())


def test_c12_in_a_chain_that_carries_on_only_who_had_the_day_has_had_it() -> None:
    all_day = replace(fault(Limit(), TWENTY), carries_on=True)
    limited = replace(fault(TWENTY, TWENTY, now=LAST - minutes(5)), carries_on=True)
    alone = replace(fault(Limit()), carries_on=True)

    assert tells(step(all_day, DayOver(), LAST, SCENE)[1]) == ["c"]
    assert step(limited, DayOver(), LAST, SCENE) == (limited, ())
    assert step(alone, DayOver(), LAST, SCENE) == (alone, ())


def test_c7_said_to_be_working_is_not_held_over() -> None:
    said, _ = step(fault(TWENTY, TWENTY), SaidWorking("g"), FIRST + minutes(5), SCENE)

    assert step(said, DayOver(), LAST, SCENE) == (said, ())


def test_c12_a_silence_said_to_be_working_ends_with_the_day() -> None:
    said, _ = step(asked(True), SaidWorking("g"), FIRST + minutes(5), SCENE)

    assert step(said, DayOver(), LAST, SCENE)[0].end == End(Ended.UNANSWERED, LAST, None, Phase.SAID)


def test_broken_after_all_takes_the_climb_up_where_it_was() -> None:
    said, _ = step(fault(TWENTY, TWENTY), SaidWorking("g"), FIRST + minutes(5), SCENE)
    after, effects = step(said, Again("r"), FIRST + minutes(9), SCENE)

    assert tells(effects) == ["c"]
    assert after.involved == ("l", "a", "g", "r", "c")
    assert (after.phase, after.step, after.next_due) == (Phase.CLIMBING, 1, FIRST + minutes(29))


def alone() -> Chase:
    """Nobody left after a, whom the message reached."""
    chase, _ = step(fault(TWENTY), Accepted("a"), FIRST, SCENE)
    left, effects = step(chase, Time(), FIRST + minutes(20), SCENE)
    assert effects == (Tell("c", 1, Purpose.CHAIN_END, FIRST + minutes(20), at_once=True),)
    return left


def test_c14_nobody_left_is_told_to_the_coordinator_and_the_last_contact_reached_hears_it_again() -> None:
    left = alone()
    assert (left.phase, left.again_at, left.next_due) == (Phase.NOBODY_LEFT, FIRST + minutes(50), None)
    assert left.involved == ("l", "a", "c")

    assert step(left, Time(), FIRST + minutes(49), SCENE) == (left, ())
    after, effects = step(left, Time(), FIRST + minutes(50), SCENE)
    assert effects == (Tell("a", 0, Purpose.ALERT, FIRST + minutes(50), at_once=True, generation=2),)
    assert after.again_at == FIRST + minutes(80)


def test_c14_over_night_the_repeats_go_on_where_they_stopped() -> None:
    once, _ = step(alone(), Time(), FIRST + minutes(50), SCENE)
    night, _ = step(once, DayOver(), LAST, SCENE)
    assert night.again_at is None
    morning, effects = step(night, Time(), MORNING, SCENE)

    assert [(e.person, e.generation) for e in effects if isinstance(e, Tell)] == [("a", 3)]
    assert (morning.phase, morning.again_at) == (Phase.NOBODY_LEFT, MORNING + minutes(30))


@pytest.mark.parametrize(("generation", "repeats"), [(3, ["a"]), (4, [])])
def test_c14_the_three_repeats_are_all_there_are_over_night_and_after_a_promise(
    generation: int, repeats: list[str]
) -> None:
    repeated = replace(alone(), generation=generation)
    night, _ = step(repeated, DayOver(), LAST, SCENE)
    held, _ = step(repeated, Mine("a", 10), FIRST + minutes(21), SCENE)
    left, _ = step(held, Time(), FIRST + minutes(31), SCENE)

    assert tells(step(night, Time(), MORNING, SCENE)[1]) == repeats
    assert left.again_at == (FIRST + minutes(61) if repeats else None)


def test_c14_where_nobody_is_left_nobody_is_reminded() -> None:
    left, _ = step(silence(TWENTY), Cannot("l"), FIRST + minutes(1), SCENE)

    assert (left.phase, left.reminders_due) == (Phase.NOBODY_LEFT, ())


def test_c14_where_nothing_reached_anybody_nobody_is_told_again() -> None:
    left, _ = step(fault(TWENTY), Time(), FIRST + minutes(20), SCENE)
    after, effects = step(left, Time(), FIRST + minutes(50), SCENE)

    assert effects == ()
    assert after.generation == 2


@pytest.mark.parametrize(
    ("minutes_left", "first", "limit"), [(31, "a", 20), (30, "g", 10), (1, "g", 10), (0, "a", 20)]
)
def test_c12_what_is_reported_in_the_last_half_hour_is_told_to_the_guardian_first(
    minutes_left: int, first: str, limit: int
) -> None:
    now = LAST - minutes(minutes_left)
    turns = (Turn("a", ("a",), TWENTY), Turn("c", ("c",), TWENTY))
    report = Report(Severity.SAME_DAY, ("CABLE",), "l")
    chain = Chain("chain", (), carries_on=True)
    chase, effects = begin_fault(SUBJECT, chain, turns, report, minutes(0), ("g",), now, SCENE)

    assert tells(effects) == [first]
    assert chase.next_due == now + minutes(limit)
    if first == "g":
        assert chase.turns == (Turn("guardian", ("g",), Limit(minutes(10))), *turns)


def test_c12_a_guardian_who_stands_in_the_chain_keeps_their_own_limit_and_is_told_once() -> None:
    turns = (Turn("a", ("a",), TWENTY), Turn("guardian", ("g",), Limit(minutes(7)), ("mail",), True))
    report = Report(Severity.SAME_DAY, ("CABLE",), "l")
    chase, effects = begin_fault(
        SUBJECT, CHAIN, turns, report, minutes(0), ("g",), LAST - minutes(10), SCENE
    )

    assert chase.turns == (turns[1], turns[0])
    assert [(e.person, e.channels) for e in effects if isinstance(e, Tell)] == [("g", ("mail",))]
    assert chase.next_due == LAST - minutes(3)


def test_c12_a_fault_after_the_last_bell_waits_for_the_morning() -> None:
    turns = (Turn("a", ("a",), TWENTY),)
    report = Report(Severity.SAME_DAY, ("CABLE",), "l")
    late, effects = begin_fault(SUBJECT, CHAIN, turns, report, minutes(0), (), LAST, SCENE)

    assert effects == ()
    assert (late.phase, late.resume_at) == (Phase.HOLDING, MORNING)
    morning, told = step(late, Time(), MORNING, SCENE)
    assert tells(told) == ["a"]
    assert (morning.phase, morning.next_due) == (Phase.CLIMBING, MORNING + minutes(20))


@pytest.mark.parametrize(
    ("event", "expected"),
    [
        (None, (FIRST + minutes(20), "c")),
        (Mine("a", 30), (FIRST + minutes(30), "c")),
        (DayOver(), (MORNING, "c")),
        (SaidWorking("g"), None),
    ],
)
def test_who_is_told_next_and_when_is_known_in_every_phase(event: object, expected: object) -> None:
    chase = fault(TWENTY, TWENTY)
    if event is not None:
        chase, _ = step(chase, event, FIRST if isinstance(event, Mine) else LAST, SCENE)  # type: ignore[arg-type]

    assert next_contact(chase, FIRST, SCENE) == expected


@pytest.mark.parametrize(
    ("begin", "end", "asked_at", "person"),
    [(15, 60, 0, "c"), (0, 20, 0, "g"), (15, 60, 30, "c"), (15, 25, 30, "g")],
)
def test_who_is_next_are_those_at_work_when_the_turn_comes(
    begin: int, end: int, asked_at: int, person: str
) -> None:
    at_work = Standing(hours=((FIRST + minutes(begin), FIRST + minutes(end)),))
    scene = replace(SCENE, people={**SCENE.people, "c": at_work})

    shown = next_contact(fault(TWENTY, TWENTY, TWENTY), FIRST + minutes(asked_at), scene)
    assert shown == (FIRST + minutes(20), person)


def test_nobody_is_next_where_the_chain_ends() -> None:
    assert next_contact(fault(TWENTY), FIRST, SCENE) is None


def test_a_child_who_went_home_ends_a_fault_that_sleeps() -> None:
    night, _ = step(fault(TWENTY, TWENTY), DayOver(), LAST, SCENE)
    scene: Scene = SCENE
    back, effects = step(night, Again("c"), LAST + minutes(5), scene)

    assert back.involved == ("l", "a", "c")
    assert news(effects) == []


def test_c12_a_promise_given_after_school_is_given_back_and_the_climb_goes_on_in_the_morning() -> None:
    night, _ = step(fault(TWENTY, TWENTY, now=LAST - minutes(20)), DayOver(), LAST, SCENE)
    taken, _ = step(night, Mine("a", 20), LAST + minutes(5), SCENE)

    another, _ = step(taken, Cannot("g"), LAST + minutes(6), SCENE)
    free, effects = step(taken, Cannot("a"), LAST + minutes(7), SCENE)

    assert another == taken
    assert (free.phase, free.in_hand, effects) == (Phase.HOLDING, None, ())
    assert not [e for e in step(free, Time(), MORNING, SCENE)[1] if isinstance(e, Ask)]
