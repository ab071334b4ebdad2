"""Clauses of the chase rules that are clearest on the machine itself."""

from dataclasses import replace
from datetime import timedelta

import pytest
from chains_made import CHAIN, FIRST, SCENE, SUBJECT, fault, minutes, tells

from service.core.chains import (
    Accepted,
    Again,
    DayOver,
    Ended,
    Failed,
    Granted,
    Mine,
    PassedOver,
    Phase,
    Posted,
    Settled,
    Tell,
    Time,
    Turn,
    Undone,
    Wait,
    begin_silence,
    step,
    wake,
)
from service.core.chains.climb import accept_by, limit_end, next_contact
from service.core.chains.values import InHand
from service.core.district import Chain, Limit


@pytest.mark.parametrize(
    ("limit", "waits"),
    [
        (Limit(minutes(20)), 2),
        (Limit(minutes(4)), 2),
        (Limit(minutes(3)), 1.5),
        (Limit(minutes(1)), 0.5),
        (Limit(bell="Period 9", otherwise=minutes(3)), 1.5),
        (Limit(), 2),
    ],
)
def test_c3_acceptance_is_waited_for_two_minutes_or_half_the_limit_if_that_is_shorter(
    limit: Limit, waits: float
) -> None:
    told, _ = step(fault(limit, Limit()), Posted("a"), FIRST, SCENE)

    assert accept_by(told, SCENE) == FIRST + minutes(waits)


def test_c3_the_time_to_accept_runs_from_when_the_message_left_not_from_when_it_was_gathered() -> None:
    told, _ = step(fault(Limit(minutes(20)), Limit()), Posted("a"), FIRST + minutes(2), SCENE)

    assert wake(told, SCENE) == FIRST + minutes(4)


def test_c3_a_bounce_after_acceptance_passes_on_and_says_so() -> None:
    told, _ = step(fault(Limit(minutes(20)), Limit()), Accepted("a"), FIRST, SCENE)
    after, effects = step(told, Failed("a"), FIRST + minutes(3), SCENE)

    assert effects[0] == PassedOver("a", 0, "no_channel")
    assert tells(effects) == ["c"]
    assert after.step == 1


def test_c6_a_third_mine_neither_lengthens_the_promise_nor_holds_the_climb() -> None:
    held = fault(Limit(minutes(20)), Limit())
    for said_at in (1, 2):
        held, _ = step(held, Mine("a", 30), FIRST + minutes(said_at), SCENE)
    third, effects = step(held, Mine("a", 60), FIRST + minutes(10), SCENE)

    assert third == held
    assert effects == (Granted("a", FIRST + minutes(32), holds=False),)


def test_c6_after_the_renewal_a_promise_stands_beside_the_climb() -> None:
    held = replace(fault(Limit(minutes(20)), Limit()), promises={"a": 2})
    after, _ = step(held, Mine("a", 30), FIRST + minutes(5), SCENE)

    assert after.phase is Phase.CLIMBING
    assert after.next_due == FIRST + minutes(20)
    assert after.in_hand == InHand("a", FIRST + minutes(35), holds=False)


@pytest.mark.parametrize(
    ("limit", "minute", "ends"),
    [
        (Limit(bell="Period 1"), 0, 15),
        (Limit(bell="Period 1"), 10, 15),
        (Limit(bell="Period 1", otherwise=minutes(12)), 10.5, 22.5),
        (Limit(bell="Period 1", edge="end"), 30, 60),
        (Limit(bell="Period 9"), 0, 10),
        (Limit(minutes(7)), 3, 10),
    ],
)
def test_c11_a_limit_ends_at_its_bell_or_after_its_else(limit: Limit, minute: float, ends: float) -> None:
    assert limit_end(limit, FIRST + minutes(minute), SCENE) == FIRST + minutes(ends)


def test_c11_until_the_end_of_the_day_is_no_instant_of_the_clock() -> None:
    assert limit_end(Limit(), FIRST, SCENE) is None


def test_c12_a_held_chase_wakes_half_an_hour_before_the_next_first_bell() -> None:
    held, effects = step(fault(Limit(minutes(20)), Limit()), DayOver(), SCENE.last, SCENE)

    assert (held.phase, effects) == (Phase.HOLDING, ())
    assert wake(held, SCENE) == FIRST + timedelta(days=1) - minutes(30)


def test_c12_what_was_left_of_a_limit_is_left_in_the_morning() -> None:
    late = fault(Limit(minutes(20)), Limit(), now=SCENE.last - minutes(5))
    told, _ = step(late, Accepted("a"), SCENE.last - minutes(5), SCENE)
    held, _ = step(told, DayOver(), SCENE.last, SCENE)
    morning = held.resume_at
    assert morning is not None
    awake, effects = step(held, Time(), morning, SCENE)

    assert effects == ()
    assert awake.next_due == morning + minutes(15)


def test_c12_a_contact_whose_message_was_never_accepted_is_passed_over_in_the_morning() -> None:
    held, _ = step(
        fault(Limit(minutes(20)), Limit(), now=SCENE.last - minutes(1)), DayOver(), SCENE.last, SCENE
    )
    assert held.resume_at is not None
    _, effects = step(held, Time(), held.resume_at, SCENE)

    assert PassedOver("a", 0, "no_channel") in effects
    assert tells(effects) == ["c"]


def test_c12_a_chain_that_carries_on_gives_who_had_all_day_no_more_than_the_day() -> None:
    urgent = fault(Limit(), Limit(minutes(5)), chain=Chain("chain", (), carries_on=True))
    _, effects = step(urgent, DayOver(), SCENE.last, SCENE)

    assert tells(effects) == ["c"]


def test_c13_a_first_turn_that_was_missed_by_long_counts_from_now() -> None:
    trying = replace(
        fault(Limit(minutes(20)), Limit(minutes(20))), phase=Phase.TRYING, step=-1, told=(), try_until=FIRST
    )
    after, effects = step(trying, Time(), FIRST + minutes(15), SCENE)

    assert tells(effects) == ["a"]
    assert after.next_due == FIRST + minutes(35)


def test_c14_the_last_contact_is_told_again_three_times_and_no_more() -> None:
    chase, _ = step(fault(Limit(minutes(20))), Accepted("a"), FIRST, SCENE)
    again: list[tuple[str, int]] = []
    for _ in range(9):
        chase, effects = step(chase, Time(), wake(chase, SCENE) or SCENE.last, SCENE)
        again += [(e.person, e.generation) for e in effects if isinstance(e, Tell) and e.generation > 1]

    assert again == [("a", 2), ("a", 3), ("a", 4)]
    assert chase.phase is Phase.NOBODY_LEFT


def test_c9_an_undone_end_goes_back_to_where_the_chase_would_be_by_now() -> None:
    turns = [Turn("l", ("l",), Limit(minutes(10))), Turn("a", ("a",), Limit())]
    silence, _ = begin_silence(SUBJECT, CHAIN, turns, FIRST, FIRST, SCENE)
    ended, _ = step(silence, Settled(Ended.ANSWERED, "l"), FIRST + minutes(8), SCENE)
    again, effects = step(ended, Undone("l"), FIRST + minutes(12), SCENE)

    assert tells(effects) == ["a"]
    assert again.step_due == FIRST + minutes(10)


def test_c18_somebody_removed_since_the_chase_began_is_passed_over() -> None:
    people = {p: s for p, s in SCENE.people.items() if p != "c"}
    scene = replace(SCENE, people=people)
    _, effects = step(fault(Limit(minutes(20)), Limit(), Limit()), Time(), FIRST + minutes(20), scene)

    assert PassedOver("c", 1, "away") in effects
    assert tells(effects) == ["g"]


def test_a_wait_never_shortens_the_time_somebody_had() -> None:
    turns = [Turn("l", ("l",), Limit(minutes(10))), Turn("a", ("a",), Limit())]
    silence, _ = begin_silence(SUBJECT, CHAIN, turns, SCENE.last, SCENE.last, SCENE)
    after, _ = step(silence, Wait("l", None), SCENE.last, SCENE)

    assert after.next_due == silence.next_due


def test_the_next_contact_shown_is_the_one_who_is_told() -> None:
    chase = fault(Limit(minutes(20)), Limit(minutes(5)), Limit())
    shown = next_contact(chase, FIRST, SCENE)
    assert shown is not None
    _, effects = step(chase, Time(), shown[0], SCENE)

    assert tells(effects) == [shown[1]] == ["c"]


def test_a_fault_that_joins_changes_no_time() -> None:
    chase = fault(Limit(minutes(20)), Limit())
    joined, _ = step(chase, Again("l"), FIRST + minutes(5), SCENE)

    assert joined.next_due == chase.next_due
