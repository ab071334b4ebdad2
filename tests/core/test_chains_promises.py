"""Taking in hand, asking for time, and not being able to (C6, C10, C18), on the machine itself."""

from dataclasses import replace

import pytest
from chains_made import FIRST, SCENE, fault, minutes, news, silence, tells

from service.core.chains import (
    Ask,
    Away,
    Cannot,
    DayOver,
    Granted,
    Mine,
    PassedOver,
    Phase,
    Released,
    Time,
    Wait,
    Withdraw,
    step,
)
from service.core.chains.values import InHand
from service.core.district import Limit

TWENTY = Limit(minutes(20))
LAST = SCENE.last


def test_mine_holds_the_climb_until_the_time_named_and_the_answer_says_which() -> None:
    held, effects = step(fault(TWENTY, TWENTY), Mine("a", 45), FIRST + minutes(3), SCENE)

    assert effects == (Granted("a", FIRST + minutes(48), holds=True),)
    assert (held.phase, held.next_due, held.reminders_due, held.again_at) == (Phase.IN_HAND, None, (), None)
    assert held.in_hand == InHand("a", FIRST + minutes(48))
    assert held.promises == {"a": 1}


def test_while_it_is_in_hand_nobody_is_reminded_and_nobody_told_again() -> None:
    asked, _ = step(silence(TWENTY, TWENTY), Mine("l", 30), FIRST, SCENE)
    left, _ = step(fault(TWENTY), Time(), FIRST + minutes(20), SCENE)
    taken, _ = step(left, Mine("a", 30), FIRST + minutes(21), SCENE)

    assert (asked.phase, asked.reminders_due) == (Phase.IN_HAND, ())
    assert (taken.phase, taken.again_at) == (Phase.IN_HAND, None)


@pytest.mark.parametrize(("asked", "granted"), [(None, 30), (45, 45), (60, 60), (61, 60), (500, 60)])
def test_mine_without_a_time_is_half_an_hour_and_never_more_than_the_chain_allows(
    asked: int | None, granted: int
) -> None:
    held, _ = step(fault(TWENTY), Mine("a", asked), FIRST, SCENE)

    assert held.in_hand == InHand("a", FIRST + minutes(granted))


@pytest.mark.parametrize(("carries_on", "until"), [(False, LAST), (True, LAST + minutes(20))])
def test_a_promise_ends_with_the_day_unless_the_chain_carries_on(carries_on: bool, until: object) -> None:
    chase = replace(fault(TWENTY), carries_on=carries_on)
    held, _ = step(chase, Mine("a", 30), LAST - minutes(10), SCENE)

    assert held.in_hand is not None
    assert held.in_hand.until == until


def test_anothers_mine_takes_over_and_the_first_hears_so_soon() -> None:
    held, _ = step(fault(TWENTY, TWENTY), Mine("a", 30), FIRST, SCENE)
    taken, effects = step(held, Mine("g", 10), FIRST + minutes(1), SCENE)

    assert news(effects) == [("a", "taken over")]
    assert [e.soon for e in effects[1:]] == [True]  # type: ignore[union-attr]
    assert taken.in_hand == InHand("g", FIRST + minutes(11))
    assert taken.involved == ("l", "a", "g")


def test_renewing_ones_own_promise_is_no_news_to_oneself() -> None:
    held, _ = step(fault(TWENTY, TWENTY), Mine("a", 30), FIRST, SCENE)

    assert news(step(held, Mine("a", 30), FIRST + minutes(5), SCENE)[1]) == []


def test_a_promise_that_passes_is_asked_about_and_the_next_is_told_at_its_instant_not_before() -> None:
    held, _ = step(fault(TWENTY, TWENTY), Mine("a", 30), FIRST, SCENE)

    assert step(held, Time(), FIRST + minutes(29.9), SCENE) == (held, ())
    after, effects = step(held, Time(), FIRST + minutes(30), SCENE)
    assert effects[0] == Ask("a", "promise")
    assert tells(effects) == ["c"]
    assert (after.phase, after.in_hand, after.next_due) == (Phase.CLIMBING, None, FIRST + minutes(50))


def test_a_promise_nobody_asks_about_passes_without_a_question() -> None:
    held, _ = step(fault(TWENTY, TWENTY), Mine("a", 30), FIRST, SCENE)
    quiet = replace(held, in_hand=InHand("a", FIRST + minutes(30), asks=False))

    assert not any(isinstance(e, Ask) for e in step(quiet, Time(), FIRST + minutes(30), SCENE)[1])


@pytest.mark.parametrize(("asked", "granted"), [(None, 20), (3, 20), (15, 21), (20, 26), (90, 26)])
def test_wait_gives_what_is_asked_from_now_once_more_the_own_limit_at_most(
    asked: int | None, granted: float
) -> None:
    waiting, effects = step(fault(TWENTY, TWENTY), Wait("a", asked), FIRST + minutes(6), SCENE)

    until = FIRST + minutes(granted)
    assert effects == (Granted("a", until, holds=True),)
    assert (waiting.next_due, waiting.reminders_due, waiting.promises) == (until, (), {"a": 1})
    assert waiting.phase is Phase.CLIMBING


def test_wait_without_minutes_is_five() -> None:
    late = FIRST + minutes(18)

    assert step(fault(TWENTY, TWENTY), Wait("a", None), late, SCENE)[0].next_due == late + minutes(5)


def test_wait_stops_the_reminders_of_the_time_it_lengthens() -> None:
    asked = silence(TWENTY, TWENTY)
    assert asked.reminders_due == (FIRST + minutes(10),)

    assert step(asked, Wait("l", 10), FIRST + minutes(1), SCENE)[0].reminders_due == ()


def test_wait_without_a_limit_by_the_clock_is_ten_minutes_at_most() -> None:
    waiting, _ = step(fault(Limit(), TWENTY), Wait("a", 90), FIRST + minutes(2), SCENE)

    assert waiting.next_due == FIRST + minutes(12)


def test_wait_does_not_go_past_the_last_bell() -> None:
    chase = fault(TWENTY, TWENTY, now=LAST - minutes(12))
    waiting, _ = step(chase, Wait("a", 20), LAST - minutes(5), SCENE)

    assert waiting.next_due == LAST + minutes(8) == chase.next_due


def test_a_second_wait_and_somebody_elses_are_told_when_the_time_ends_anyway() -> None:
    waiting, _ = step(fault(TWENTY, TWENTY), Wait("a", 15), FIRST + minutes(10), SCENE)

    for person in ("a", "c"):
        after, effects = step(waiting, Wait(person, 60), FIRST + minutes(11), SCENE)
        assert after == waiting
        assert effects == (Granted(person, FIRST + minutes(25), holds=False),)


def test_a_refused_wait_without_a_limit_is_told_the_last_bell() -> None:
    chase = fault(Limit(), TWENTY)

    assert step(chase, Wait("c", 5), FIRST, SCENE)[1] == (Granted("c", LAST, holds=False),)


@pytest.mark.parametrize(("event", "reason"), [(Cannot("a"), "cannot"), (Away("a"), "away")])
def test_whose_turn_it_is_and_cannot_is_passed_over_at_once_for_the_reason_given(
    event: Cannot | Away, reason: str
) -> None:
    after, effects = step(fault(TWENTY, TWENTY), event, FIRST + minutes(4), SCENE)

    assert effects[:2] == (Withdraw("a", reason), PassedOver("a", 0, reason))
    assert tells(effects) == ["c"]
    assert (after.step, after.next_due) == (1, FIRST + minutes(24))


def test_somebody_elses_absence_changes_nothing() -> None:
    chase = fault(TWENTY, TWENTY)

    for event in (Cannot("g"), Away("g")):
        assert step(chase, event, FIRST + minutes(4), SCENE) == (chase, ())


def test_who_had_it_in_hand_and_falls_ill_lets_go_and_the_next_is_told() -> None:
    held, _ = step(fault(TWENTY, TWENTY), Mine("a", 60), FIRST, SCENE)
    let_go, effects = step(held, Away("a"), FIRST + minutes(8), SCENE)

    assert tells(effects) == ["c"]
    assert (let_go.phase, let_go.in_hand) == (Phase.CLIMBING, None)
    assert step(held, Away("c"), FIRST + minutes(8), SCENE) == (held, ())


@pytest.mark.parametrize("event", [Away("a"), Time()])
def test_where_nobody_is_left_nobody_has_it_in_hand_either(event: Away | Time) -> None:
    held, _ = step(fault(TWENTY), Mine("a", 30), FIRST, SCENE)
    after, _ = step(held, event, FIRST + minutes(30), SCENE)

    assert (after.phase, after.in_hand) == (Phase.NOBODY_LEFT, None)


def test_mine_after_school_sleeps_with_the_chase_and_the_answer_says_until_when() -> None:
    night, _ = step(fault(TWENTY, TWENTY), DayOver(), LAST, SCENE)
    assert night.resume_at is not None
    taken, effects = step(night, Mine("g", 30), LAST + minutes(30), SCENE)

    assert effects == (Granted("g", night.resume_at, holds=True),)
    assert taken.phase is Phase.HOLDING
    assert taken.in_hand == InHand("g", night.resume_at)
    assert taken.promises == {"g": 1}
    assert taken.involved == ("l", "a", "g")
    again, _ = step(taken, Mine("g", 30), LAST + minutes(40), SCENE)
    assert again.promises == {"g": 2}


def test_in_the_morning_who_took_it_over_night_is_asked_and_the_next_is_told() -> None:
    night, _ = step(fault(TWENTY, TWENTY), DayOver(), LAST, SCENE)
    taken, _ = step(night, Mine("a", 30), LAST + minutes(30), SCENE)
    assert taken.resume_at is not None
    morning, effects = step(taken, Time(), taken.resume_at, SCENE)

    assert effects[0] == Ask("a", "promise")
    assert tells(effects) == ["c"]
    assert morning.phase is Phase.CLIMBING


@pytest.mark.parametrize(("minutes_later", "told", "due"), [(2, [], 20), (25, ["c"], 40)])
def test_a_promise_taken_back_leaves_the_chase_where_it_would_be_by_now(
    minutes_later: int, told: list[str], due: int
) -> None:
    held, _ = step(fault(TWENTY, TWENTY), Mine("a", 45), FIRST + minutes(1), SCENE)
    back, effects = step(held, Released("a"), FIRST + minutes(minutes_later), SCENE)

    assert (back.phase, back.in_hand, back.promises) == (Phase.CLIMBING, None, {})
    assert tells(effects) == told
    assert back.next_due == FIRST + minutes(due)


def test_a_wish_for_time_taken_back_brings_the_old_limit_back_and_may_be_made_anew() -> None:
    later, _ = step(silence(TWENTY), Wait("l", 15), FIRST + minutes(12), SCENE)
    back, _ = step(later, Released("l"), FIRST + minutes(13), SCENE)

    assert (later.next_due, back.next_due) == (FIRST + minutes(27), FIRST + minutes(20))
    assert step(back, Wait("l", 15), FIRST + minutes(13), SCENE)[0].next_due == FIRST + minutes(28)


def test_a_takeover_taken_back_is_news_to_the_first_and_the_climb_goes_on() -> None:
    held, _ = step(fault(TWENTY, TWENTY), Mine("a", 30), FIRST, SCENE)
    taken, _ = step(held, Mine("g", 10), FIRST + minutes(1), SCENE)
    back, effects = step(taken, Released("g"), FIRST + minutes(2), SCENE)

    assert (back.phase, back.promises, back.next_due) == (Phase.CLIMBING, {"a": 1}, FIRST + minutes(20))
    assert news(effects) == [("a", "taken back")]


def test_a_promise_given_when_nobody_was_left_goes_back_to_that() -> None:
    nobody, _ = step(fault(TWENTY), Time(), FIRST + minutes(20), SCENE)
    held, _ = step(nobody, Mine("a", 30), FIRST + minutes(21), SCENE)
    back, _ = step(held, Released("a"), FIRST + minutes(22), SCENE)

    assert (nobody.phase, back.phase) == (Phase.NOBODY_LEFT, Phase.NOBODY_LEFT)
    assert back.again_at == FIRST + minutes(52)


def test_who_promised_nothing_takes_nothing_back() -> None:
    held, _ = step(fault(TWENTY), Mine("a", 30), FIRST, SCENE)

    assert step(held, Released("c"), FIRST + minutes(1), SCENE) == (held, ())
