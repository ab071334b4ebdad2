"""What a checker is asked to look at, and in which order."""

import itertools

import pytest

from service.core.devices import (
    WORN as WORN_KINDS,
)
from service.core.devices import (
    CheckStep,
    check_steps,
    kinds_of_check,
    says_sounds,
    tries_sides_alone,
)
from service.core.district import Device, DeviceKind, Form, Power, Side, Skill
from service.core.forms import forms_of

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


def test_after_sport_moisture_is_looked_for_and_no_sounds_are_said() -> None:
    assert titles("sport", AID) == ["Look", "Power", "On the child"]
    assert any("answer WET" in line for line in step("Look", "sport", AID).sentences)
    assert not any("answer WET" in line for line in step("Look", "daily", AID).sentences)


def test_an_older_student_looks_switches_on_and_hears_and_nobody_says_sounds() -> None:
    """No sounds before classmates; students trained to check their own aids had better working ones (LSHSS 1992)."""
    own = check_steps("self", (AID, MICROPHONE))
    assert [each.title for each in own] == [
        "Look at it", "Switch it on", "Hear for yourself", "The teacher's microphone",
    ]  # fmt: skip
    assert not any(each.sounds or each.skill for each in own)


def test_a_kind_of_check_we_do_not_know_gets_the_full_one() -> None:
    assert check_steps("after swimming", (AID,)) == check_steps("full", (AID,))
    assert says_sounds("after swimming")
    assert tries_sides_alone("after swimming")


def test_the_kinds_differ_in_what_they_say_of_hearing() -> None:
    assert kinds_of_check() == ("daily", "full", "midday", "sport")
    assert [kind for kind in kinds_of_check() if says_sounds(kind)] == ["daily", "full"]
    assert [kind for kind in kinds_of_check() if tries_sides_alone(kind)] == ["full"]
    assert not says_sounds("self")


@pytest.mark.parametrize("kind", ["daily", "full", "midday", "sport"])
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


def test_each_side_is_tried_alone_in_the_full_check_and_where_there_are_two() -> None:
    """One device at a time, and then together: a centre for deaf pupils (professionals.cid.edu)."""
    def is_alone(kind: str, *devices: Device) -> bool:
        lines = step("Six sounds", kind, *devices).sentences
        return any(line.startswith("Each side alone") for line in lines)

    assert is_alone("full", AID, IMPLANT)
    assert not is_alone("full", AID)
    assert not is_alone("daily", AID, IMPLANT)


def test_every_form_of_processor_is_looked_at_in_its_own_way() -> None:
    forms = [(kind, form) for kind in WORN_KINDS for form in forms_of(kind)]
    looks = {form: step("Look", "daily", Device(kind, Side.LEFT, form)).sentences for kind, form in forms}
    assert len(looks) == len(set(looks.values())) == 6
    assert "Cable" not in " ".join(looks[Form.SINGLE_UNIT])
    assert "touch the post" in " ".join(looks[Form.ABUTMENT])


@pytest.mark.parametrize(("power", "asked"), [(Power.SIZE_312, False), (Power.RECHARGEABLE, True), (None, False)])
def test_what_is_charged_is_asked_about_its_charge_and_no_cell_is_tested(power: Power | None, asked: bool) -> None:
    found = step("Power", "daily", Device(DeviceKind.HEARING_AID, Side.LEFT, power=power))
    assert any("Charged" in line for line in found.sentences) == asked
    assert any("door closes" in line for line in found.sentences) != asked
    assert (found.tool is None) == asked


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


@pytest.mark.parametrize("device", WORN, ids=lambda device: device.kind)
def test_listening_by_ear_is_for_somebody_trained_and_there_is_a_way_by_eye(device: Device) -> None:
    listening = step("Listen", "full", device)
    assert listening.skill is Skill.LISTEN
    assert listening.by_eye[0].startswith("By eye")


def test_an_implant_s_signal_is_seen_and_never_heard() -> None:
    assert "seen" in " ".join(step("Listen", "full", IMPLANT).sentences)
    assert "light or the wand" in " ".join(step("On the child", "daily", IMPLANT).sentences)


def test_a_student_without_devices_has_nothing_to_check() -> None:
    assert check_steps("full", ()) == ()
