"""What a listening check may be taken to say of hearing, and what it may not."""

import pytest

from service.core.district import Device, DeviceKind, Side
from service.core.listening.answers import Level, Listening, Response, missed, side_alone
from service.core.listening.chance import says_yes_to_silence
from tests.core.listening_made import check, day

DETECT, IDENTIFY = Level.DETECT, Level.IDENTIFY
LEFT = Device(DeviceKind.HEARING_AID, Side.LEFT)
RIGHT = Device(DeviceKind.COCHLEAR_IMPLANT, Side.RIGHT)
MICROPHONE = Device(DeviceKind.REMOTE_MIC)


def test_noticing_a_sound_is_hearing_it_but_not_knowing_it() -> None:
    noticed = check(0, heard=Response.DETECTED)
    assert missed(noticed, "s", DETECT) is False
    assert missed(noticed, "s", IDENTIFY) is True


@pytest.mark.parametrize("level", Level)
def test_a_sound_that_is_named_rightly_is_heard_and_one_that_is_missed_is_not(level: Level) -> None:
    named = check(0, "sh", heard=Response.IDENTIFIED)
    assert missed(named, "s", level) is False
    assert missed(named, "sh", level) is True


@pytest.mark.parametrize("level", Level)
def test_nothing_is_said_of_a_sound_that_was_not_said_or_while_a_fault_stands(level: Level) -> None:
    assert missed(check(0), "z", level) is None
    assert missed(check(0, "s", faulty=True), "s", level) is None
    assert missed(check(0, faulty=True), "s", level) is None


def test_a_child_who_answers_a_silence_has_not_shown_by_noticing_that_it_heard() -> None:
    yes = check(0, "sh", silences=2, false=1)
    assert missed(yes, "s", DETECT) is None
    assert missed(yes, "sh", DETECT) is True
    assert missed(check(0, heard=Response.IDENTIFIED, false=1), "s", DETECT) is False


def test_more_answered_silences_than_there_were_are_refused() -> None:
    with pytest.raises(ValueError, match="3 of 2 silences were answered; say 0 to 2"):
        Listening(day(0), None, {}, silences=2, false=3)


def test_a_child_with_one_device_is_checked_on_its_side() -> None:
    assert side_alone(None, (LEFT, MICROPHONE)) is Side.LEFT
    assert side_alone(None, (LEFT, RIGHT)) is None
    assert side_alone(Side.RIGHT, (LEFT, RIGHT)) is Side.RIGHT


def test_saying_yes_to_silences_is_told_from_a_slip_now_and_then() -> None:
    assert says_yes_to_silence([check(n, false=2) for n in range(3)])
    assert says_yes_to_silence([check(n, false=1) for n in range(5)])
    assert not says_yes_to_silence([check(0, false=2), check(1, false=2)])
    assert not says_yes_to_silence([check(n, false=n == 3) for n in range(10)])
    assert not says_yes_to_silence([])
