"""Devices, sides and lists in words."""

import pytest

from service.core.district import Device, DeviceKind, Role, Side
from service.core.reading import Result
from service.wording.names import BOTH, DEVICES, RESULTS, ROLES, device_words, listed, side_words

LEFT_AID = Device(DeviceKind.HEARING_AID, Side.LEFT)
RIGHT_AID = Device(DeviceKind.HEARING_AID, Side.RIGHT)
RIGHT_IMPLANT = Device(DeviceKind.COCHLEAR_IMPLANT, Side.RIGHT)
MICROPHONE = Device(DeviceKind.REMOTE_MIC)


@pytest.mark.parametrize(
    ("devices", "words"),
    [
        ((LEFT_AID,), "left hearing aid"),
        ((LEFT_AID, RIGHT_AID), "both hearing aids"),
        ((LEFT_AID, RIGHT_IMPLANT), "left hearing aid and right processor"),
        ((LEFT_AID, RIGHT_AID, MICROPHONE), "both hearing aids and classroom microphone"),
        ((), ""),
    ],
)
def test_a_student_s_devices_read_as_one_says_them(devices: tuple[Device, ...], words: str) -> None:
    assert device_words(devices) == words


@pytest.mark.parametrize(
    ("sides", "words"),
    [((Side.LEFT,), "left"), ((Side.RIGHT, Side.LEFT), "both"), ((None,), ""), ((), "")],
)
def test_a_side_that_nobody_named_is_left_out(sides: tuple[Side | None, ...], words: str) -> None:
    assert side_words(sides) == words


def test_lists_end_in_and() -> None:
    assert (listed([]), listed(["1"]), listed(["1", "2"]), listed(["1", "2", "3"])) == (
        "",
        "1",
        "1 and 2",
        "1, 2 and 3",
    )


def test_every_role_result_and_device_has_its_words() -> None:
    assert set(ROLES) == set(Role)
    assert set(RESULTS) == set(Result)
    assert set(DEVICES) == {(kind, side) for kind in DeviceKind for side in (None, *Side)}
    assert set(BOTH) == set(DeviceKind) - {DeviceKind.REMOTE_MIC}
