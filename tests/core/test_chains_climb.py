"""Turns, reminders, delays and first remedies (C2, C3, C4, C10, C13), on the machine itself."""

from dataclasses import replace

import pytest
from chains_made import CHAIN, FIRST, SCENE, SUBJECT, fault, minutes, news, silence, tells

from service.core.chains import (
    Accepted,
    Again,
    Chase,
    DayOver,
    Failed,
    Mine,
    Moved,
    NotHelped,
    PassedOver,
    Phase,
    Posted,
    Purpose,
    Report,
    SaidWorking,
    Standing,
    Tell,
    Time,
    Turn,
    Why,
    begin_fault,
    begin_silence,
    step,
    wake,
)
from service.core.district import Chain, Limit, Severity

TWENTY = Limit(minutes(20))


def asked(reminders: int = 1) -> Chase:
    """A check that l was asked about, by one channel, and that was accepted at once."""
    turns = (
        Turn("l", ("l",), TWENTY, ("chat",), purpose=Purpose.PROMPT),
        Turn("a", ("a",), TWENTY, purpose=Purpose.SECOND),
    )
    chain = Chain("chain", (), reminders=reminders)
    chase, _ = begin_silence(SUBJECT, chain, turns, FIRST, FIRST, SCENE)
    return step(chase, Accepted("l"), FIRST, SCENE)[0]


def test_c2_the_prompt_is_the_checkers_telling_and_its_reminder_lies_at_half_the_limit() -> None:
    chase = asked()
    assert (chase.step_due, chase.next_due, chase.reminders_due) == (
        FIRST, FIRST + minutes(20), (FIRST + minutes(10),)
    )  # fmt: skip

    assert step(chase, Time(), FIRST + minutes(9.9), SCENE) == (chase, ())
    after, effects = step(chase, Time(), FIRST + minutes(10), SCENE)
    assert effects == (
        Tell("l", 0, Purpose.REMINDER, FIRST + minutes(10), channels=("chat",), generation=1),
    )
    assert after == replace(chase, reminders_due=())


def test_c2_several_reminders_part_the_limit_evenly_and_are_numbered() -> None:
    chase = asked(reminders=3)
    assert chase.reminders_due == tuple(FIRST + minutes(n) for n in (5, 10, 15))

    numbers = []
    for n in (5, 10, 15):
        chase, effects = step(chase, Time(), FIRST + minutes(n), SCENE)
        numbers += [e.generation for e in effects if isinstance(e, Tell)]
    assert numbers == [1, 2, 3]


def test_a_reminder_is_not_sent_when_the_next_turn_has_come_as_well() -> None:
    after, effects = step(asked(), Time(), FIRST + minutes(20), SCENE)

    assert [(e.person, e.purpose) for e in effects if isinstance(e, Tell)] == [("a", Purpose.SECOND)]
    assert (after.step, after.reminders_due) == (1, ())


def test_a_reminder_is_not_sent_to_whom_ordinary_prompts_rest_and_that_is_said() -> None:
    resting = replace(SCENE, resting={"l": FIRST + minutes(60)})
    rested = replace(SCENE, resting={"l": FIRST + minutes(10)})

    assert step(asked(), Time(), FIRST + minutes(10), resting)[1] == (
        PassedOver("l", 0, "pointless", Purpose.REMINDER),
    )
    assert tells(step(asked(), Time(), FIRST + minutes(10), rested)[1]) == ["l"]


def test_only_who_is_asked_is_reminded() -> None:
    after, _ = step(asked(), Time(), FIRST + minutes(20), SCENE)

    assert after.reminders_due == ()
    assert fault(TWENTY).reminders_due == ()


def test_c10_a_delay_moves_all_times_of_a_check_that_is_still_the_checkers() -> None:
    moved, effects = step(asked(), Moved(minutes(60)), FIRST + minutes(1), SCENE)

    assert effects == ()
    assert (moved.step_due, moved.next_due, moved.reminders_due) == (
        FIRST + minutes(60), FIRST + minutes(80), (FIRST + minutes(70),)
    )  # fmt: skip


def test_c10_a_delay_moves_nothing_else() -> None:
    later, _ = step(asked(), Time(), FIRST + minutes(20), SCENE)
    untold = replace(asked(), step_due=None)

    for chase in (fault(TWENTY, TWENTY), later, untold):
        assert step(chase, Moved(minutes(60)), FIRST + minutes(21), SCENE) == (chase, ())


def test_c10_a_limit_that_is_not_by_the_clock_does_not_move() -> None:
    chase = silence(Limit(), TWENTY)

    assert step(chase, Moved(minutes(60)), FIRST, SCENE)[0].next_due is None


def test_c3_who_refused_for_good_is_not_taken_for_told_and_others_keep_what_they_took() -> None:
    chase, _ = step(fault(TWENTY, TWENTY, TWENTY), Accepted("a"), FIRST, SCENE)
    chase, _ = step(chase, Time(), FIRST + minutes(20), SCENE)
    chase, _ = step(chase, Accepted("c"), FIRST + minutes(20), SCENE)
    after, effects = step(chase, Failed("c"), FIRST + minutes(21), SCENE)

    assert effects[0] == PassedOver("c", 1, "no_channel")
    assert tells(effects) == ["g"]
    assert [(t.person, t.accepted) for t in after.told] == [("a", FIRST), ("c", None), ("g", None)]
    assert (after.step_due, after.next_due) == (FIRST + minutes(21), FIRST + minutes(41))


def test_c3_a_bounce_of_an_earlier_step_changes_nothing() -> None:
    chase, _ = step(fault(TWENTY, TWENTY, TWENTY), Accepted("a"), FIRST, SCENE)
    chase, _ = step(chase, Time(), FIRST + minutes(20), SCENE)

    assert step(chase, Failed("a"), FIRST + minutes(21), SCENE) == (chase, ())


def test_c3_what_no_channel_took_in_time_passes_on_from_the_instant_it_was_too_late() -> None:
    posted, _ = step(fault(TWENTY, TWENTY), Posted("a"), FIRST, SCENE)
    after, effects = step(posted, Time(), FIRST + minutes(2), SCENE)

    assert effects[0] == PassedOver("a", 0, "no_channel")
    assert tells(effects) == ["c"]
    assert after.next_due == FIRST + minutes(22)


def test_the_first_instants_of_leaving_and_of_taking_are_kept() -> None:
    chase, _ = step(fault(TWENTY), Posted("a"), FIRST, SCENE)
    chase, _ = step(chase, Posted("a"), FIRST + minutes(1), SCENE)
    chase, _ = step(chase, Accepted("a"), FIRST + minutes(1), SCENE)
    chase, _ = step(chase, Accepted("a"), FIRST + minutes(2), SCENE)

    assert [(t.posted, t.accepted) for t in chase.told] == [(FIRST, FIRST + minutes(1))]
    assert step(chase, Posted("g"), FIRST + minutes(3), SCENE) == (chase, ())


def test_a_fault_that_joins_is_told_to_those_whom_a_message_reached_and_changes_no_time() -> None:
    chase, _ = step(fault(TWENTY, TWENTY, TWENTY), Accepted("a"), FIRST, SCENE)
    chase, _ = step(chase, Time(), FIRST + minutes(20), SCENE)
    after, effects = step(chase, Again("g"), FIRST + minutes(21), SCENE)
    by_a, own = step(chase, Again("a"), FIRST + minutes(21), SCENE)

    assert [(e.person, e.what, e.soon) for e in effects] == [("a", "changed", True)]  # type: ignore[union-attr]
    assert after == replace(chase, involved=("l", "a", "c", "g"))
    assert own == ()
    assert by_a == chase


def trying() -> Chase:
    turns = (Turn("a", ("a",), TWENTY), Turn("c", ("c",), TWENTY))
    report = Report(Severity.SAME_DAY, ("BAT",), "l", ("r",), ("n",))
    chase, effects = begin_fault(SUBJECT, CHAIN, turns, report, minutes(10), (), FIRST, SCENE)
    assert effects == ()
    return chase


def test_c2_a_fault_with_a_first_remedy_waits_for_its_outcome_and_tells_nobody() -> None:
    chase = trying()

    assert (chase.phase, chase.try_until, chase.step) == (Phase.TRYING, FIRST + minutes(10), -1)
    assert (chase.severity, chase.faults, chase.reporter, chase.reported_at) == (
        Severity.SAME_DAY, ("BAT",), "l", FIRST
    )  # fmt: skip
    assert (chase.why, chase.involved, chase.closers) == (Why.FAULT, ("l", "r"), ("n",))
    assert step(chase, Time(), FIRST + minutes(9.9), SCENE) == (chase, ())


def test_c2_when_the_remedy_has_had_its_time_the_first_contact_is_told_from_then_on() -> None:
    after, effects = step(trying(), Time(), FIRST + minutes(10.5), SCENE)

    assert tells(effects) == ["a"]
    assert (after.phase, after.began, after.next_due) == (
        Phase.CLIMBING, FIRST + minutes(10), FIRST + minutes(30)
    )  # fmt: skip


def test_c2_a_remedy_has_had_its_time_at_the_very_instant_it_ends() -> None:
    assert tells(step(trying(), Time(), FIRST + minutes(10), SCENE)[1]) == ["a"]


@pytest.mark.parametrize("seconds", [60, 61])
def test_c13_a_remedy_that_ran_out_long_ago_gives_its_contact_the_time_until_the_bell_all_the_same(
    seconds: int,
) -> None:
    bell = Limit(bell="Period 1", edge="end")
    chase = replace(trying(), turns=(Turn("a", ("a",), bell),))
    now = FIRST + minutes(10) + minutes(seconds / 60)
    after, _ = step(chase, Time(), now, SCENE)

    assert after.next_due == FIRST + minutes(60)
    assert after.step_due == (now if seconds > 60 else FIRST + minutes(10))


def test_c2_did_not_help_ends_the_wait() -> None:
    after, effects = step(trying(), NotHelped("l"), FIRST + minutes(3), SCENE)

    assert tells(effects) == ["a"]
    assert (after.phase, after.began, after.next_due) == (
        Phase.CLIMBING, FIRST + minutes(3), FIRST + minutes(23)
    )  # fmt: skip


def test_c13_what_was_missed_by_long_is_told_once_each_and_limits_run_on_from_now() -> None:
    back = FIRST + minutes(30)
    after, effects = step(trying(), Time(), back, SCENE)

    told = [(e.person, e.late, e.due) for e in effects if isinstance(e, Tell)]
    assert told == [("a", True, FIRST + minutes(10)), ("c", False, back)]
    assert (after.step_due, after.next_due, after.reminders_due) == (back, back + minutes(20), ())


@pytest.mark.parametrize(("late", "counted_from"), [(1, 20), (1.1, 21.1)])
def test_c13_a_minute_late_is_not_late(late: float, counted_from: float) -> None:
    chase, _ = step(fault(TWENTY, TWENTY), Accepted("a"), FIRST, SCENE)
    after, effects = step(chase, Time(), FIRST + minutes(20 + late), SCENE)

    assert after.next_due == FIRST + minutes(counted_from + 20)
    assert [e.late for e in effects if isinstance(e, Tell)] == [late > 1]


def test_c13_a_turn_missed_by_long_runs_from_now_to_its_own_bell_and_its_old_reminders_are_forgotten() -> None:
    turns = (
        Turn("a", ("a",), TWENTY),
        Turn("l", ("l",), Limit(bell="Period 1", edge="end"), purpose=Purpose.PROMPT),
    )
    chase, _ = begin_silence(SUBJECT, Chain("chain", (), reminders=3), turns, FIRST, FIRST, SCENE)
    back = FIRST + minutes(25)
    after, effects = step(chase, Time(), back, SCENE)

    assert tells(effects) == ["l"]
    assert (after.step_due, after.next_due, after.reminders_due) == (back, FIRST + minutes(60), ())


def test_each_phase_wakes_at_its_own_instant() -> None:
    held, _ = step(fault(TWENTY), Mine("a", 30), FIRST, SCENE)
    night, _ = step(fault(TWENTY), DayOver(), SCENE.last, SCENE)
    said, _ = step(fault(TWENTY), SaidWorking("g"), FIRST, SCENE)

    assert wake(trying(), SCENE) == FIRST + minutes(10)
    assert wake(asked(), SCENE) == FIRST + minutes(10)
    assert wake(held, SCENE) == FIRST + minutes(30)
    assert wake(night, SCENE) == night.resume_at
    assert wake(said, SCENE) is None
    assert wake(fault(Limit()), SCENE) is None


@pytest.mark.parametrize(
    ("standing", "reason"),
    [
        (Standing("away"), "away"),
        (Standing("no_channel"), "no_channel"),
        (Standing(hours=()), "off_hours"),
        (Standing(hours=((FIRST + minutes(1), FIRST + minutes(9)),)), "off_hours"),
        (Standing(hours=((FIRST - minutes(9), FIRST),)), "off_hours"),
        (None, "away"),
    ],
)
def test_c4_who_cannot_be_told_now_is_passed_over_and_the_reason_said(
    standing: Standing | None, reason: str
) -> None:
    people = {**SCENE.people, "a": standing}
    scene = replace(SCENE, people={p: s for p, s in people.items() if s is not None})
    turns = (Turn("a", ("a",), TWENTY), Turn("c", ("c",), TWENTY))
    report = Report(Severity.SAME_DAY, ("CABLE",), "l")
    chase, effects = begin_fault(SUBJECT, CHAIN, turns, report, minutes(0), (), FIRST, scene)

    assert effects[0] == PassedOver("a", 0, reason)
    assert tells(effects) == ["c"]
    assert chase.step == 1


def test_c4_who_would_have_been_asked_is_passed_over_as_such() -> None:
    scene = replace(SCENE, people={**SCENE.people, "l": Standing("away")})
    turns = (Turn("l", ("l",), TWENTY, purpose=Purpose.PROMPT), Turn("a", ("a",), TWENTY))
    _, effects = begin_silence(SUBJECT, CHAIN, turns, FIRST, FIRST, scene)

    assert effects[0] == PassedOver("l", 0, "away", Purpose.PROMPT)


def test_c4_a_step_at_any_hour_and_hours_that_begin_now_reach_their_person() -> None:
    begins = replace(
        SCENE, people={**SCENE.people, "a": Standing(hours=((FIRST, FIRST + minutes(9)),))}
    )
    never = replace(SCENE, people={**SCENE.people, "a": Standing(hours=())})
    report = Report(Severity.SAME_DAY, ("CABLE",), "l")
    for scene, any_hour in ((begins, False), (never, True)):
        turns = (Turn("a", ("a",), TWENTY, any_hour=any_hour),)
        assert tells(
            begin_fault(SUBJECT, CHAIN, turns, report, minutes(0), (), FIRST, scene)[1]
        ) == ["a"]


def test_c4_a_deputy_is_told_for_who_is_away_and_a_turn_without_people_is_passed_over_by_its_name() -> None:
    scene = replace(SCENE, people={**SCENE.people, "a": Standing("away", deputies=("g",))})
    turns = (Turn("guardian", (), TWENTY), Turn("a", ("a",), TWENTY))
    report = Report(Severity.SAME_DAY, ("CABLE",), "l")
    _, effects = begin_fault(SUBJECT, CHAIN, turns, report, minutes(0), (), FIRST, scene)

    assert effects[0] == PassedOver("guardian", 0, "no_channel")
    assert tells(effects) == ["g"]


@pytest.mark.parametrize(("any_hour", "told"), [(False, ["c"]), (True, ["g"])])
def test_c4_a_deputy_outside_their_hours_is_told_where_the_step_says_any_hour(
    any_hour: bool, told: list[str]
) -> None:
    off = Standing(hours=())
    scene = replace(SCENE, people={**SCENE.people, "a": Standing("away", deputies=("g",)), "g": off})
    turns = (Turn("a", ("a",), TWENTY, any_hour=any_hour), Turn("c", ("c",), TWENTY))
    report = Report(Severity.SAME_DAY, ("CABLE",), "l")

    assert tells(begin_fault(SUBJECT, CHAIN, turns, report, minutes(0), (), FIRST, scene)[1]) == told


def test_c4_only_who_is_away_has_somebody_standing_in() -> None:
    dumb = replace(SCENE, people={**SCENE.people, "a": Standing("no_channel", deputies=("g",))})
    turns = (Turn("a", ("a",), TWENTY), Turn("c", ("c",), TWENTY))
    report = Report(Severity.SAME_DAY, ("CABLE",), "l")

    assert tells(begin_fault(SUBJECT, CHAIN, turns, report, minutes(0), (), FIRST, dumb)[1]) == ["c"]


def test_c4_two_who_are_away_and_stand_in_for_each_other_are_both_passed_over() -> None:
    away = {
        "a": Standing("away", deputies=("r",)),
        "r": Standing("away", deputies=("g",)),
        "g": Standing("away", deputies=("r",)),
    }
    scene = replace(SCENE, people={**SCENE.people, **away})
    turns = (Turn("a", ("a",), TWENTY), Turn("c", ("c",), TWENTY))
    report = Report(Severity.SAME_DAY, ("CABLE",), "l")

    assert tells(begin_fault(SUBJECT, CHAIN, turns, report, minutes(0), (), FIRST, scene)[1]) == ["c"]


def test_c4_of_several_deputies_the_first_who_can_be_told_is_and_a_deputys_own_deputies_follow() -> None:
    people = {
        **SCENE.people,
        "a": Standing("away", deputies=("r", "c")),
        "r": Standing("away", deputies=("a", "g")),
    }
    turns = (Turn("a", ("a",), TWENTY),)
    report = Report(Severity.SAME_DAY, ("CABLE",), "l")
    for here, told in ((people, ["g"]), ({**people, "g": Standing("no_channel")}, ["c"])):
        scene = replace(SCENE, people=here)
        _, effects = begin_fault(SUBJECT, CHAIN, turns, report, minutes(0), (), FIRST, scene)
        assert tells(effects) == told


def test_c4_nobody_is_told_twice_by_one_chase() -> None:
    turns = (Turn("a", ("a",), TWENTY), Turn("again", ("a",), TWENTY), Turn("c", ("c",), TWENTY))
    report = Report(Severity.SAME_DAY, ("CABLE",), "l")
    chase, _ = begin_fault(SUBJECT, CHAIN, turns, report, minutes(0), (), FIRST, SCENE)
    chase, _ = step(chase, Accepted("a"), FIRST, SCENE)
    _, effects = step(chase, Time(), FIRST + minutes(20), SCENE)

    assert effects[0] == PassedOver("a", 1, "already_told")
    assert tells(effects) == ["c"]
    assert news(effects) == []


@pytest.mark.parametrize(
    ("severity", "at_once"),
    [
        (Severity.WATCH, False),
        (Severity.SAME_DAY, False),
        (Severity.URGENT, True),
        (Severity.EMERGENCY, True),
    ],
)
def test_c5_alerts_of_what_is_urgent_never_wait(severity: Severity, at_once: bool) -> None:
    report = Report(severity, ("SORE",), "l")
    turns = (Turn("a", ("a",), TWENTY, ("chat",)),)
    _, effects = begin_fault(SUBJECT, CHAIN, turns, report, minutes(0), (), FIRST, SCENE)

    assert effects == (Tell("a", 0, Purpose.ALERT, FIRST, at_once=at_once, channels=("chat",)),)
