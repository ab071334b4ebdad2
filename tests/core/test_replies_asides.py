"""What stands beside the news is no news: each pair is a remark that is heard as one, and its dangerous neighbour.

The sentences are from memory, in the manner of the labelled replies.
"""

import pytest

from service.core.district import Device, DeviceKind, Side
from service.core.reading import Asked, AskedStudent, Audience, Command, Reading, Result
from service.core.replies import read
from tests.core.replies_labelled import WORDS

AIDS = tuple(Device(DeviceKind.HEARING_AID, side) for side in (Side.LEFT, Side.RIGHT))
IMPLANT = (Device(DeviceKind.COCHLEAR_IMPLANT, Side.LEFT), Device(DeviceKind.COCHLEAR_IMPLANT, Side.RIGHT))
ROUND = Asked(Audience.CHECKER, (AskedStudent(1, "Ada", AIDS), AskedStudent(2, "Ben", AIDS)))
WEARER = Asked(Audience.CHECKER, (AskedStudent(1, "Cyd", IMPLANT),))


def said(text: str, asked: Asked = ROUND) -> Reading:
    return read(text, asked, WORDS)


def faults(reading: Reading) -> dict[int, list[tuple[str, Side | None]]]:
    """The faults of every student that has some."""
    return {n: [(f.code, f.side) for f in o.faults] for n, o in reading.outcomes.items() if o.faults}


def working(reading: Reading) -> set[int]:
    """The students read as working."""
    return {n for n, outcome in reading.outcomes.items() if outcome.result is Result.WORKING}


@pytest.mark.parametrize("text", ["all ok, the copier jammed again", "all good, we did them before the announcements"])
def test_a_remark_about_something_else_does_not_hold_good_news_up(text: str) -> None:
    assert working(said(text)) == {1, 2}
    assert not said(text).ask


@pytest.mark.parametrize("text", ["all ok, mould jammed again", "all ok but the printer is dead and 1 too"])
def test_trouble_that_may_be_a_students_is_no_remark(text: str) -> None:
    assert 1 not in working(said(text))


def test_a_thing_that_works_is_no_good_news_of_a_student() -> None:
    assert said("the printer is working").outcomes == {}


def test_a_how_to_question_names_no_fault_unless_trouble_is_told_beside_it() -> None:
    asked = said("how do i open the little battery door")
    assert (asked.command, asked.outcomes) == (Command.HELP, {})
    assert faults(said("1L mould split, how do i change the tube")) == {1: [("MOULD", Side.LEFT)]}


def test_whoever_is_being_done_now_is_waited_for() -> None:
    doing = said("Ada ok. Doing Ben now")
    assert (working(doing), doing.command) == ({1}, Command.WAIT)


def test_the_word_left_out_is_good_only_where_it_was_denied_of_another() -> None:
    assert working(said("1 isnt ok, others are")) == {2}
    assert working(said("1 bat, others are")) == set()


def test_a_trouble_told_and_then_denied_is_taken_back() -> None:
    left = faults(said("1 lost them. no not lost, left both at home"))
    assert left == {1: [("HOME", Side.LEFT), ("HOME", Side.RIGHT)]}


def test_a_remedy_that_is_needed_is_the_fault_it_is_for() -> None:
    assert faults(said("2 needs a fresh cell in the R one")) == {2: [("BAT", Side.RIGHT)]}


def test_two_causes_with_or_between_are_a_fault_whose_code_is_asked() -> None:
    torn = said("2L bat or maybe tubing")
    assert faults(torn) == {2: [("OTHER", Side.LEFT)]}
    assert torn.ask


def test_a_side_named_elsewhere_in_the_reply_is_the_side_of_the_one_fault() -> None:
    assert faults(said("took a ball to the head and now nothing on the left", WEARER)) == {1: [("KNOCK", Side.LEFT)]}
    lost = said("magnet gone from the left coil, last seen in her mouth", WEARER)
    assert faults(lost) == {1: [("SWALLOWED", Side.LEFT)]}
    assert lost.emergency


def test_one_student_set_aside_beside_another_is_not_the_one_with_the_fault() -> None:
    assert set(faults(said("2 not 1 has the flat battery"))) == {2}


def test_a_number_alone_at_the_end_is_whose_news_went_before() -> None:
    assert faults(said("his left tube has split. 1")) == {1: [("MOULD", Side.LEFT)]}
    assert working(said("ok. 1")) == set()
