"""How a chase ends and who hears of it (C5, C7, C9), on the machine itself."""

from collections.abc import Callable
from dataclasses import replace

import pytest
from chains_made import FIRST, SCENE, fault, minutes, news, silence, tells

from service.core.chains import (
    Accepted,
    Chase,
    Ended,
    Mine,
    News,
    Over,
    Phase,
    SaidWorking,
    Settled,
    TakenBack,
    Time,
    Undone,
    Withdraw,
    step,
)
from service.core.chains.values import End
from service.core.district import Limit, Severity

TWENTY = Limit(minutes(20))


def told(severity: Severity = Severity.SAME_DAY) -> Chase:
    """A fault that a and c were told of."""
    chase, _ = step(fault(TWENTY, TWENTY, TWENTY, severity=severity), Accepted("a"), FIRST, SCENE)
    chase, _ = step(chase, Time(), FIRST + minutes(20), SCENE)
    return step(chase, Accepted("c"), FIRST + minutes(20), SCENE)[0]


def test_c7_everyone_told_hears_the_end_once_but_for_who_settled_it() -> None:
    over, effects = step(told(), Settled(Ended.PUT_RIGHT, "c"), FIRST + minutes(25), SCENE)

    assert news(effects) == [("l", "put right"), ("a", "put right")]
    assert effects[0] == Over(Ended.PUT_RIGHT, "c")
    assert over.end == End(Ended.PUT_RIGHT, FIRST + minutes(25), "c", Phase.CLIMBING)
    assert over.phase is Phase.OVER


def test_c5_what_still_waits_for_anybody_involved_is_taken_back() -> None:
    _, effects = step(told(), Settled(Ended.PUT_RIGHT, "c"), FIRST + minutes(25), SCENE)

    assert [e for e in effects if isinstance(e, Withdraw)] == [
        Withdraw(p, "settled") for p in ("l", "a", "c")
    ]


def test_c7_whose_message_never_left_has_nothing_to_hear_the_end_of() -> None:
    _, effects = step(fault(TWENTY, TWENTY), Settled(Ended.PUT_RIGHT, "l"), FIRST + minutes(1), SCENE)

    assert news(effects) == []


def test_c9_nobody_hears_that_an_end_was_taken_back_who_never_heard_of_the_beginning() -> None:
    over, _ = step(fault(TWENTY, TWENTY), Settled(Ended.PUT_RIGHT, "c"), FIRST + minutes(1), SCENE)

    assert news(step(over, Undone("c"), FIRST + minutes(2), SCENE)[1]) == [("l", "taken back")]


@pytest.mark.parametrize("how", [Ended.OUTWEIGHED, Ended.ASK_LATER])
def test_what_goes_on_in_another_way_is_no_news(how: Ended) -> None:
    assert news(step(told(), Settled(how, "l"), FIRST + minutes(25), SCENE)[1]) == []


@pytest.mark.parametrize(
    ("severity", "soon", "at_once"),
    [(Severity.SAME_DAY, False, False), (Severity.URGENT, True, False), (Severity.EMERGENCY, True, True)],
)
def test_c5_news_of_an_urgent_fault_does_not_wait_long_and_of_an_emergency_not_at_all(
    severity: Severity, soon: bool, at_once: bool
) -> None:
    _, effects = step(told(severity), Settled(Ended.PUT_RIGHT, "c"), FIRST + minutes(25), SCENE)

    heard = [e for e in effects if isinstance(e, News)]
    assert [(e.soon, e.at_once) for e in heard] == [(soon, at_once)] * 2


def test_c5_news_to_whoever_said_mine_does_not_wait_long() -> None:
    held, _ = step(told(), Mine("a", 30), FIRST + minutes(21), SCENE)
    _, effects = step(held, Settled(Ended.PUT_RIGHT, "c"), FIRST + minutes(25), SCENE)

    assert {e.person: e.soon for e in effects if isinstance(e, News)} == {"l": False, "a": True}


def test_c7_said_to_be_working_stops_the_climb_and_leaves_the_fault_open() -> None:
    held, _ = step(told(), Mine("a", 30), FIRST + minutes(21), SCENE)
    said, effects = step(held, SaidWorking("g"), FIRST + minutes(25), SCENE)

    assert effects == ()
    assert said.phase is Phase.SAID
    assert said.is_open
    assert (said.next_due, said.reminders_due, said.again_at, said.in_hand, said.try_until) == (
        None, (), None, None, None
    )  # fmt: skip
    assert said.involved == ("l", "a", "c", "g")


def nobody_left() -> Chase:
    return step(fault(TWENTY), Time(), FIRST + minutes(20), SCENE)[0]


def trying() -> Chase:
    return replace(fault(TWENTY), phase=Phase.TRYING, try_until=FIRST + minutes(10), next_due=None)


@pytest.mark.parametrize("make", [lambda: silence(TWENTY, TWENTY), nobody_left, trying])
def test_c7_nothing_is_waited_for_once_it_is_said_to_be_working(make: Callable[[], Chase]) -> None:
    said, _ = step(make(), SaidWorking("g"), FIRST + minutes(5), SCENE)

    assert (said.next_due, said.reminders_due, said.again_at, said.try_until) == (None, (), None, None)


def test_c9_an_undone_end_is_told_to_those_who_heard_it_and_soon() -> None:
    over, _ = step(told(), Settled(Ended.PUT_RIGHT, "c"), FIRST + minutes(25), SCENE)
    back, effects = step(over, Undone("c"), FIRST + minutes(26), SCENE)

    assert [(e.person, e.what, e.soon) for e in effects if isinstance(e, News)] == [
        ("l", "taken back", True),
        ("a", "taken back", True),
    ]
    assert (back.phase, back.end, back.next_due) == (Phase.CLIMBING, None, FIRST + minutes(40))


def test_c9_a_reminder_that_passed_while_it_was_over_is_not_sent_after_all() -> None:
    asked = silence(TWENTY, TWENTY)
    over, _ = step(asked, Settled(Ended.ANSWERED, "l"), FIRST + minutes(9), SCENE)
    early, _ = step(over, Undone("l"), FIRST + minutes(9.5), SCENE)
    late, effects = step(over, Undone("l"), FIRST + minutes(10), SCENE)

    assert early.reminders_due == (FIRST + minutes(10),)
    assert late.reminders_due == ()
    assert tells(effects) == []


def test_c9_what_was_outweighed_told_nobody_its_end_so_nobody_hears_it_back() -> None:
    over, _ = step(told(), Settled(Ended.OUTWEIGHED, "l"), FIRST + minutes(25), SCENE)

    assert news(step(over, Undone("l"), FIRST + minutes(26), SCENE)[1]) == []


def test_c9_what_nobody_took_up_is_taken_back_and_those_told_hear_it() -> None:
    over, effects = step(told(), TakenBack("l"), FIRST + minutes(21), SCENE)

    assert over.end == End(Ended.TAKEN_BACK, FIRST + minutes(21), "l", Phase.CLIMBING)
    assert news(effects) == [("a", "taken back"), ("c", "taken back")]


def test_c9_what_somebody_has_taken_up_stands_and_they_hear_of_the_mistake() -> None:
    held, _ = step(told(), Mine("a", 30), FIRST + minutes(21), SCENE)
    after, effects = step(held, TakenBack("l"), FIRST + minutes(22), SCENE)

    assert after == held
    assert effects == (News("a", "said to be a mistake", soon=True),)


def test_c9_ones_own_promise_does_not_keep_ones_own_report_from_being_taken_back() -> None:
    held, _ = step(told(), Mine("l", 30), FIRST + minutes(21), SCENE)

    assert step(held, TakenBack("l"), FIRST + minutes(22), SCENE)[0].phase is Phase.OVER


def test_c9_said_to_be_working_stands_and_all_others_hear_of_the_mistake() -> None:
    said, _ = step(told(), SaidWorking("g"), FIRST + minutes(25), SCENE)
    after, effects = step(said, TakenBack("l"), FIRST + minutes(26), SCENE)

    assert after == said
    assert news(effects) == [(p, "said to be a mistake") for p in ("a", "c", "g")]


def test_an_undo_of_what_never_ended_changes_nothing() -> None:
    broken = replace(told(), phase=Phase.OVER)

    assert step(broken, Undone("l"), FIRST + minutes(26), SCENE) == (broken, ())
