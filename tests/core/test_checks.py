"""How a check stands, from what was said about it (C8, C15)."""

from datetime import UTC, datetime, timedelta

import pytest

from service.core.checks import Standing, Statement, stand
from service.core.district import Side
from service.core.reading import Fault, NotDone, Result

AT = datetime(2026, 10, 5, 13, 5, tzinfo=UTC)
CABLE, BATTERY = Fault("CABLE", Side.LEFT), Fault("BAT", Side.RIGHT)


def said(result: Result, *faults: Fault, by: str = "l", minute: int = 0, **changes: object) -> Statement:
    return Statement(AT + timedelta(minutes=minute), by, result, faults, **changes)  # type: ignore[arg-type]


def test_a_check_of_which_nothing_was_said_is_open() -> None:
    assert stand(()) == Standing()


@pytest.mark.parametrize("result", [Result.WORKING, Result.AWAY, Result.NOT_DONE, Result.NO_CHECK])
def test_it_stands_as_was_said_by_whom_and_when(result: Result) -> None:
    assert stand([said(result, reason=NotDone.TRIP)]) == Standing(result, (), "l", AT)


def test_c8_faults_add_up_each_once_in_the_order_said() -> None:
    standing = stand([said(Result.FAULT, CABLE), said(Result.FAULT, BATTERY, CABLE, by="r", minute=3)])

    assert standing == Standing(Result.FAULT, (CABLE, BATTERY), "r", AT + timedelta(minutes=3))


def test_sounds_that_were_missed_stand_until_others_are_named() -> None:
    first = said(Result.FAULT, Fault("SOUND"), missed_sounds=("s", "sh"))
    other = said(Result.FAULT, CABLE, minute=1)
    again = said(Result.FAULT, Fault("SOUND"), missed_sounds=("m",), minute=2)

    assert stand([first]).missed_sounds == ("s", "sh")
    assert stand([first, other]).missed_sounds == ("s", "sh")
    assert stand([first, other, again]).missed_sounds == ("m",)


def test_words_that_settle_a_fault_leave_none_open() -> None:
    working = said(Result.WORKING, CABLE, by="r", minute=4)

    assert stand([said(Result.FAULT, CABLE), working]) == Standing(
        Result.WORKING, (), "r", AT + timedelta(minutes=4)
    )


def test_c8_a_check_that_could_not_be_done_leaves_a_fault_as_it_stands() -> None:
    not_done = said(Result.NOT_DONE, by="r", minute=4, reason=NotDone.NO_TIME)

    assert stand([said(Result.FAULT, CABLE), not_done]) == Standing(Result.FAULT, (CABLE,), "l", AT)
    assert stand([said(Result.WORKING), not_done]).result is Result.NOT_DONE


def test_what_was_put_right_is_named_by_who_said_so_or_is_what_was_open() -> None:
    named = stand([said(Result.FAULT, CABLE, BATTERY), said(Result.FIXED, BATTERY, by="r", minute=4)])
    bare = stand([said(Result.FAULT, CABLE, BATTERY), said(Result.FIXED, by="r", minute=4)])

    assert named == Standing(Result.FIXED, (BATTERY,), "r", AT + timedelta(minutes=4))
    assert bare == Standing(Result.FIXED, (CABLE, BATTERY), "r", AT + timedelta(minutes=4))


def test_a_fault_after_one_was_put_right_is_the_only_one_that_is_open() -> None:
    again = [said(Result.FIXED, CABLE), said(Result.FAULT, BATTERY, minute=9)]

    assert stand(again).faults == (BATTERY,)


def test_c15_a_late_answer_is_kept_beside_and_changes_nothing() -> None:
    assert stand([said(Result.FAULT, CABLE, late=True)]) == Standing()
    assert stand([said(Result.WORKING), said(Result.FAULT, CABLE, late=True)]).result is Result.WORKING
