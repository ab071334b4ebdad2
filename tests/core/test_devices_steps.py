"""What a checker is asked to look at, and in which order."""

import itertools

import pytest

from service.core.devices import CheckStep, check_steps
from service.core.district import Device, DeviceKind, Side

AID = Device(DeviceKind.HEARING_AID, Side.LEFT)
IMPLANT = Device(DeviceKind.COCHLEAR_IMPLANT, Side.RIGHT)
BONE = Device(DeviceKind.BONE_CONDUCTION, Side.LEFT)
MICROPHONE = Device(DeviceKind.REMOTE_MIC)
WORN = (AID, IMPLANT, BONE)


def titles(kind: str, *devices: Device) -> list[str]:
    return [step.title for step in check_steps(kind, devices)]


def step(title: str, kind: str, *devices: Device) -> CheckStep:
    return next(step for step in check_steps(kind, devices) if step.title == title)


@pytest.mark.parametrize("device", WORN, ids=lambda device: device.kind)
def test_the_daily_check_is_short(device: Device) -> None:
    assert titles("daily", device) == ["Look", "Power", "On the child", "Six sounds"]


@pytest.mark.parametrize("device", WORN, ids=lambda device: device.kind)
def test_the_full_check_listens_before_the_child_puts_it_on(device: Device) -> None:
    assert titles("full", device) == ["Look", "Power", "Listen", "On the child", "Six sounds"]


def test_midday_is_a_glance() -> None:
    assert titles("midday", AID) == ["Look", "Power", "On the child"]


def test_a_kind_of_check_we_do_not_know_gets_the_full_one() -> None:
    assert check_steps("after swimming", (AID,)) == check_steps("full", (AID,))


@pytest.mark.parametrize("kind", ["daily", "full", "midday"])
def test_the_classroom_microphone_comes_last_and_only_after_the_device_alone(kind: str) -> None:
    last = check_steps(kind, (AID, MICROPHONE))[-1]
    assert last.title == "Classroom microphone"
    assert "device alone" in last.sentences[0]


def test_without_a_classroom_microphone_nothing_is_said_of_one() -> None:
    assert "Classroom microphone" not in titles("full", *WORN)


def test_a_classroom_microphone_alone_has_its_own_step_only() -> None:
    assert titles("full", MICROPHONE) == ["Classroom microphone"]


def test_each_kind_of_device_gets_its_own_sentences() -> None:
    looks = [step("Look", "daily", device).sentences for device in WORN]
    assert all(a != b for a, b in itertools.combinations(looks, 2))


def test_each_side_is_tried_alone_where_there_are_two() -> None:
    two = step("Six sounds", "daily", AID, IMPLANT).sentences
    one = step("Six sounds", "daily", AID).sentences
    assert any(line.startswith("Each side alone") for line in two)
    assert not any(line.startswith("Each side alone") for line in one)


def test_every_tool_has_a_way_without_it() -> None:
    for device in WORN:
        for each in check_steps("full", (device,)):
            assert bool(each.tool) == bool(each.without_tool)


def test_listening_goes_with_an_attenuator_and_not_with_the_listeners_own_ear() -> None:
    listening = step("Listen", "full", AID)
    assert "attenuator" in (listening.tool or "")
    assert "Never put a student's earmould in your own ear." in listening.sentences[0]


def test_the_tools_of_two_devices_are_both_named() -> None:
    tools = [step("Listen", "full", device).tool or "" for device in (AID, IMPLANT)]

    assert step("Listen", "full", AID, IMPLANT).tool == "; ".join(tools)
    assert tools[0] != tools[1]


def test_nothing_rests_on_a_listener_who_hears() -> None:
    assert any("do not hear well yourself" in line for line in step("Listen", "full", AID).sentences)


def test_an_implant_s_signal_is_seen_and_never_heard() -> None:
    assert "seen" in " ".join(step("Listen", "full", IMPLANT).sentences)
    assert "light or the wand" in " ".join(step("On the child", "daily", IMPLANT).sentences)


def test_a_student_without_devices_has_nothing_to_check() -> None:
    assert check_steps("full", ()) == ()
