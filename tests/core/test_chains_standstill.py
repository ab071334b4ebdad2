"""A chase whose clock stood still: what was to come comes later, what was is as it was."""

from dataclasses import replace

from chains_made import FIRST, SCENE, fault, minutes, silence

from service.core.chains import Accepted, Mine, Phase, Posted, Time, step, stood_still, wake
from service.core.chains.values import InHand, Told
from service.core.district import Limit

TWENTY = Limit(minutes(20))
HOUR = minutes(60)


def test_the_turn_the_reminder_and_the_telling_of_now_come_as_much_later() -> None:
    asked = silence(TWENTY, TWENTY)
    posted, _ = step(asked, Posted("l"), FIRST + minutes(1), SCENE)
    after = stood_still(posted, HOUR)

    assert (after.step_due, after.next_due) == (FIRST + HOUR, FIRST + HOUR + minutes(20))
    assert after.reminders_due == (FIRST + HOUR + minutes(10),)
    assert after.told == (Told("l", 0, FIRST + HOUR, FIRST + HOUR + minutes(1)),)
    assert after.began == asked.began


def test_who_has_not_been_written_to_yet_is_not_taken_for_written_to() -> None:
    assert stood_still(silence(TWENTY), HOUR).told == (Told("l", 0, FIRST + HOUR),)


def test_what_was_accepted_and_who_was_told_before_stay_as_they_were() -> None:
    first, _ = step(fault(TWENTY, TWENTY), Posted("a"), FIRST, SCENE)
    second, _ = step(first, Time(), FIRST + minutes(2), SCENE)
    accepted, _ = step(second, Accepted("c"), FIRST + minutes(2), SCENE)

    assert stood_still(accepted, HOUR).told == accepted.told
    assert stood_still(second, HOUR).told == (
        Told("a", 0, FIRST, FIRST),
        Told("c", 1, FIRST + minutes(2) + HOUR),
    )


def test_a_promise_a_first_remedy_and_the_next_repeat_last_as_much_longer() -> None:
    held, _ = step(fault(TWENTY, TWENTY), Mine("a", 30), FIRST, SCENE)
    trying = replace(held, phase=Phase.TRYING, try_until=FIRST + minutes(10))
    alone, _ = step(fault(TWENTY), Time(), FIRST + minutes(20), SCENE)

    assert stood_still(held, HOUR).in_hand == InHand("a", FIRST + minutes(30) + HOUR)
    assert stood_still(trying, HOUR).try_until == FIRST + minutes(10) + HOUR
    assert stood_still(alone, HOUR).again_at == FIRST + minutes(50) + HOUR
    assert wake(stood_still(alone, HOUR), SCENE) == FIRST + minutes(50) + HOUR


def test_what_is_not_by_the_clock_stays_so() -> None:
    chase = fault(Limit())
    after = stood_still(replace(chase, step_due=None), HOUR)

    assert (after.step_due, after.next_due, after.try_until, after.again_at, after.in_hand) == (
        None, None, None, None, None
    )  # fmt: skip
    assert after.reminders_due == ()
