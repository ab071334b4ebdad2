"""What a whole check says of hearing, and what an audiologist's few words say is usual."""

from datetime import date

import pytest

from service.core.district import Device, DeviceKind, Side, Stated
from service.core.listening.answers import Listening, Response
from service.core.listening.stated import Checked, listenings, sides_of, usual_of
from service.core.listening.usual import Ear, Usual
from service.core.reading import Fault, Result
from service.core.sounds import SIX

LEFT = Device(DeviceKind.HEARING_AID, Side.LEFT)
RIGHT = Device(DeviceKind.COCHLEAR_IMPLANT, Side.RIGHT)
MICROPHONE = Device(DeviceKind.REMOTE_MIC)
ALL_HEARD = Stated(None, None, 0, 15)
DAY = date(2026, 11, 25)


TWO = (LEFT, RIGHT)


def said(
    result: Result, *faults: Fault, missed: str = "", devices: tuple[Device, ...] = TWO
) -> tuple[Listening, ...]:
    return heard(Checked(DAY, result, faults, tuple(missed.split())), devices=devices)


def heard(*checks: Checked, devices: tuple[Device, ...] = TWO) -> tuple[Listening, ...]:
    return tuple(listenings(checks, devices, SIX))


def gone(check: Listening) -> set[str]:
    return {sound for sound, response in check.answers.items() if response is Response.MISSED}


def test_a_child_with_two_devices_listens_in_three_ways_and_with_one_in_one() -> None:
    assert sides_of((LEFT, RIGHT, MICROPHONE)) == (None, Side.LEFT, Side.RIGHT)
    assert sides_of((LEFT, MICROPHONE)) == (None,)


def test_what_is_said_of_all_holds_everywhere_until_something_closer_is_said() -> None:
    usual = usual_of([ALL_HEARD, Stated(None, "s", 15, 15), Stated(Side.LEFT, "s", 2, 15)], (LEFT, RIGHT), SIX)
    assert usual[Ear("", "m")] == usual[Ear("right", "m")] == Usual(0, 15)
    assert (usual[Ear("right", "s")], usual[Ear("left", "s")]) == (Usual(15, 15), Usual(2, 15))
    assert len(usual) == 18


def test_a_side_or_sound_that_the_child_has_not_is_left_out() -> None:
    assert usual_of([Stated(Side.RIGHT, None, 0, 15), Stated(None, "z", 0, 15)], (LEFT,), SIX) == {}


def test_working_says_that_every_sound_was_heard_in_every_way() -> None:
    assert [(check.side, gone(check)) for check in said(Result.WORKING)] == [
        (None, set()),
        (Side.LEFT, set()),
        (Side.RIGHT, set()),
    ]


def test_a_short_check_says_nothing_of_a_side_alone() -> None:
    """The daily check says the sounds with everything on; each side alone is the full check's."""
    (worn,) = heard(Checked(DAY, Result.WORKING, alone=False))
    assert worn.side is None
    assert len(heard(Checked(DAY, Result.WORKING, alone=False), devices=TWO[:1])) == 1


def test_missed_sounds_speak_of_the_side_they_were_said_of_and_of_no_other() -> None:
    (left,) = said(Result.FAULT, Fault("SOUND", Side.LEFT), missed="s sh")
    assert (left.side, gone(left)) == (Side.LEFT, {"s", "sh"})
    (worn,) = said(Result.FAULT, Fault("SOUND"), missed="s")
    assert worn.side is None


def test_with_one_device_its_side_is_everything_as_worn() -> None:
    (worn,) = said(Result.FAULT, Fault("SOUND", Side.LEFT), missed="s", devices=(LEFT,))
    assert (worn.side, gone(worn)) == (None, {"s"})


@pytest.mark.parametrize(
    ("result", "faults", "missed"),
    [
        (Result.FAULT, (Fault("SOUND"),), ""),
        (Result.FAULT, (Fault("SOUND"), Fault("BAT")), "s"),
        (Result.FAULT, (Fault("BAT"),), "s"),
        (Result.FIXED, (Fault("SOUND"),), "s"),
        (Result.AWAY, (), ""),
        (Result.NOT_DONE, (), ""),
        (Result.UNANSWERED, (), ""),
    ],
)
def test_everything_else_says_nothing_about_hearing(result: Result, faults: tuple[Fault, ...], missed: str) -> None:
    assert said(result, *faults, missed=missed) == ()


@pytest.mark.parametrize(("then", "counts"), [(Result.WORKING, True), (Result.FIXED, True), (Result.AWAY, False)])
def test_while_a_fault_of_the_device_is_open_a_missed_sound_counts_for_nothing(then: Result, counts: bool) -> None:
    flat = Checked(DAY, Result.FAULT, (Fault("BAT"),))
    missed = Checked(DAY, Result.FAULT, (Fault("SOUND"),), ("s",))
    assert heard(flat, missed) == ()
    assert any(gone(check) for check in heard(flat, Checked(DAY, then), missed)) is counts
