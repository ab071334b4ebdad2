"""What the catalogue of fault codes promises to a teacher, a chain and a drawing."""

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core.devices import FaultCode, catalogue, fits, part_names, read_code, severity_of, try_for
from service.core.district import Device, DeviceKind, FaultText, Form, Power, Settings, Severity, Side, Skill
from service.core.forms import EVERYWHERE, forms, forms_of, shape_of
from service.core.reading import Fault
from service.core.sounds import SIX

START_SET = {
    *("BAT", "CABLE", "COIL", "MAGNET", "POWER", "MIC", "HOOK", "MOULD", "WHISTLE", "LINK", "SOUND", "WET"),
    *("LOST", "HOME", "REFUSED", "OTHER", "SORE", "SWAP", "SETTING", "BAND", "KNOCK", "UNWELL", "SWALLOWED"),
}
CODES = catalogue()
BOTH_AIDS = (Device(DeviceKind.HEARING_AID, Side.LEFT), Device(DeviceKind.HEARING_AID, Side.RIGHT))
IMPLANT_AND_AID = (Device(DeviceKind.COCHLEAR_IMPLANT, Side.LEFT), Device(DeviceKind.HEARING_AID, Side.RIGHT))
MICROPHONE = Device(DeviceKind.REMOTE_MIC)


def shown(code: FaultCode) -> Iterator[str]:
    yield from (code.label, *code.remedy, *code.never, *code.cautions, *code.seen)


def every_line() -> str:
    return "\n".join(line for code in CODES.values() for line in shown(code)).lower()


def test_the_start_set_is_whole() -> None:
    assert set(CODES) == START_SET
    assert all(code.code == key for key, code in CODES.items())


@pytest.mark.parametrize("code", CODES.values(), ids=lambda code: code.code)
class TestEveryCode:
    def test_offers_one_to_four_short_steps(self, code: FaultCode) -> None:
        assert 1 <= len(code.remedy) <= 4
        assert all(len(line) <= 100 for line in shown(code))

    def test_says_what_one_sees_and_lies_in_a_known_part(self, code: FaultCode) -> None:
        assert code.seen
        assert code.part in part_names()

    def test_speaks_calmly(self, code: FaultCode) -> None:
        assert not any("!" in line for line in shown(code))

    def test_sends_a_remedy_to_no_other_code_than_one_that_exists(self, code: FaultCode) -> None:
        answers = {word for line in shown(code) for word in re.findall(r"answer ([A-Z]{2,})", line)}
        assert answers <= START_SET | {"FIXED", "NO"}


ENTRY = {
    "label": "Lead loose", "devices": ["cochlear-implant", "bone-conduction"], "severity": "urgent", "in_class": True,
    "part": "cable", "remedy": ["Push it in.", "Swap it."], "never": ["Do not pull."], "cautions": ["It is thin."],
    "seen": ["It dangles."],
}  # fmt: skip


def test_an_entry_of_the_catalogue_is_read_as_it_stands() -> None:
    lead = FaultCode(
        "LEAD", "Lead loose", (DeviceKind.COCHLEAR_IMPLANT, DeviceKind.BONE_CONDUCTION), Severity.URGENT, True,
        ("Push it in.", "Swap it."), ("Do not pull.",), ("It is thin.",), "cable", ("It dangles.",),
    )  # fmt: skip

    assert read_code("LEAD", ENTRY) == lead
    marked = {**ENTRY, "at_once": True, "guardian_now": True, "nurse_now": True}
    assert read_code("LEAD", marked) == replace(lead, at_once=True, guardian_now=True, nurse_now=True)
    for mark in ("at_once", "guardian_now", "nurse_now"):
        assert read_code("LEAD", {**ENTRY, mark: True}) == replace(lead, **{mark: True})


@pytest.mark.parametrize(("part", "value"), [("severity", "grave"), ("devices", ["spectacles"])])
def test_an_entry_with_a_word_that_means_nothing_is_refused(part: str, value: object) -> None:
    with pytest.raises(ValueError, match="is not a valid"):
        read_code("LEAD", {**ENTRY, part: value})


def test_no_line_gives_advice_that_belongs_to_doctors_or_to_nobody() -> None:
    text = every_line()
    for word in ("honey", "teaspoon", " ml", "dose", "water and call", "12 mm", "20 mm"):
        assert word not in text


def test_drying_names_what_must_not_be_used() -> None:
    assert {"hair-dryer", "oven", "microwave"} <= set(
        re.findall(r"[\w-]+", " ".join(CODES["WET"].never).lower())
    )


@pytest.mark.parametrize("code", ["MAGNET", "SORE"])
def test_school_staff_never_change_or_strengthen_a_magnet(code: str) -> None:
    assert any("never change" in line and "strengthen" in line for line in CODES[code].never)


def test_a_swallowed_cell_begins_with_the_emergency_number_and_with_nothing_by_mouth() -> None:
    swallowed = CODES["SWALLOWED"]
    assert swallowed.severity is Severity.EMERGENCY
    assert "emergency number" in swallowed.remedy[0]
    assert "unless the emergency or poison line says so" in " ".join(swallowed.remedy)
    assert any("vomit" in line for line in swallowed.never)
    assert any("no drops" in line for line in swallowed.never)


def test_nobody_waits_for_a_remedy_where_a_child_may_come_to_harm() -> None:
    assert {code.code for code in CODES.values() if code.at_once} == {"SORE", "UNWELL", "KNOCK", "SWALLOWED"}
    for name in ("SORE", "UNWELL", "KNOCK", "SWALLOWED"):
        assert CODES[name].guardian_now
        assert CODES[name].nurse_now
        assert try_for(CODES[name], Settings()) == timedelta()


def test_swapped_sides_and_no_sound_are_urgent_and_a_microphone_alone_is_not() -> None:
    urgent = {code.code for code in CODES.values() if code.severity is Severity.URGENT}
    assert urgent == {"BAT", "COIL", "POWER", "SORE", "SWAP", "KNOCK", "UNWELL"}
    assert CODES["LINK"].severity is Severity.SAME_DAY


class TestTheWaitForARemedy:
    def test_is_the_district_s_ten_minutes_or_five_when_urgent(self) -> None:
        assert try_for(CODES["CABLE"], Settings()) == timedelta(minutes=10)
        assert try_for(CODES["BAT"], Settings()) == timedelta(minutes=5)

    def test_is_nothing_where_no_step_in_class_helps(self) -> None:
        assert try_for(CODES["LOST"], Settings()) == timedelta()

    def test_follows_the_code_s_own_where_a_district_set_one(self) -> None:
        codes = catalogue({"CABLE": FaultText("CABLE", try_for=timedelta())})
        assert try_for(codes["CABLE"], Settings()) == timedelta()

    def test_follows_the_severity_of_this_fault_where_the_code_has_no_fixed_one(self) -> None:
        assert try_for(CODES["SOUND"], Settings(), Severity.URGENT) == timedelta(minutes=5)

    def test_is_nothing_for_harm_even_where_a_step_in_class_helps(self) -> None:
        assert try_for(replace(CODES["SORE"], in_class=True), Settings()) == timedelta()

    @pytest.mark.parametrize("code", ["SORE", "UNWELL", "KNOCK", "SWALLOWED"])
    def test_cannot_be_set_where_nothing_may_be_waited_for(self, code: str) -> None:
        codes = catalogue({code: FaultText(code, try_for=timedelta(minutes=20))})
        assert try_for(codes[code], Settings()) == timedelta()


class TestMissedSounds:
    def severity(self, *missed: str, usual: frozenset[str] | None = None) -> Severity:
        return severity_of(Fault("SOUND"), CODES, missed, usual)

    def test_one_or_two_are_watched(self) -> None:
        assert self.severity("s") is Severity.WATCH
        assert self.severity("s", "sh") is Severity.WATCH

    def test_more_are_for_the_same_day(self) -> None:
        assert self.severity("s", "sh", "ee") is Severity.SAME_DAY

    def test_all_are_urgent(self) -> None:
        assert self.severity(*SIX) is Severity.URGENT

    def test_a_sound_never_heard_before_is_no_news(self) -> None:
        assert self.severity("s", "sh", "ee", usual=frozenset({"m", "ah", "oo"})) is Severity.WATCH

    def test_all_that_a_child_usually_hears_is_urgent_even_if_that_is_little(self) -> None:
        assert self.severity("m", "ah", usual=frozenset({"m", "ah"})) is Severity.URGENT

    def test_sounds_that_nobody_named_may_be_many(self) -> None:
        assert self.severity() is Severity.SAME_DAY


@given(st.sets(st.sampled_from(SIX), min_size=1), st.sampled_from(SIX))
def test_missing_one_more_sound_is_never_milder(missed: set[str], more: str) -> None:
    ranks = list(Severity)
    before, after = (severity_of(Fault("SOUND"), CODES, sounds) for sounds in (missed, {*missed, more}))
    assert ranks.index(after) >= ranks.index(before)


def test_a_code_the_district_has_dropped_counts_as_another_fault() -> None:
    assert severity_of(Fault("GONE"), CODES) is CODES["OTHER"].severity


class TestADistrictsOwnWords:
    def test_an_own_code_without_details_is_taken_carefully(self) -> None:
        own = catalogue({"LOOP": FaultText("LOOP", label="Room loop silent")})["LOOP"]
        assert (own.label, own.severity, own.in_class) == ("Room loop silent", Severity.SAME_DAY, False)
        assert own.devices == tuple(DeviceKind)
        assert own.seen == ("Room loop silent",)

    def test_an_own_code_is_all_that_the_district_said_of_it(self) -> None:
        said = FaultText(
            "LOOP", (), Severity.WATCH, timedelta(minutes=3), "Loop", ("Switch it on.",), (DeviceKind.REMOTE_MIC,),
            ("Do not open it.",),
        )  # fmt: skip
        assert catalogue({"LOOP": said})["LOOP"] == FaultCode(
            "LOOP", "Loop", (DeviceKind.REMOTE_MIC,), Severity.WATCH, True, ("Switch it on.",), ("Do not open it.",),
            seen=("Loop",), try_for=timedelta(minutes=3),
        )  # fmt: skip

    def test_an_own_code_of_which_nothing_is_said_is_called_by_its_code(self) -> None:
        assert catalogue({"LOOP": FaultText("LOOP")})["LOOP"] == FaultCode(
            "LOOP", "LOOP", tuple(DeviceKind), Severity.SAME_DAY, in_class=False, remedy=(), seen=("LOOP",)
        )

    def test_what_the_district_says_of_a_shipped_code_replaces_what_was_shipped(self) -> None:
        said = FaultText(
            "CABLE", (), Severity.WATCH, timedelta(minutes=3), "Lead", ("Push it in.",), (DeviceKind.HEARING_AID,),
            ("Do not pull.",),
        )  # fmt: skip
        assert catalogue({"CABLE": said})["CABLE"] == replace(
            CODES["CABLE"], label="Lead", devices=(DeviceKind.HEARING_AID,), severity=Severity.WATCH,
            remedy=("Push it in.",), never=("Do not pull.",), try_for=timedelta(minutes=3),
        )  # fmt: skip

    def test_a_shipped_code_of_which_nothing_is_said_stays_as_it_was_shipped(self) -> None:
        assert catalogue({code: FaultText(code) for code in CODES}) == CODES

    def test_an_own_remedy_makes_an_own_code_one_to_be_tried_in_class(self) -> None:
        own = catalogue({"LOOP": FaultText("LOOP", remedy=("Switch the loop on.",))})["LOOP"]
        assert try_for(own, Settings()) == timedelta(minutes=10)

    def test_what_is_left_out_keeps_the_shipped_value(self) -> None:
        own = catalogue({"CABLE": FaultText("CABLE", label="Lead")})["CABLE"]
        assert own.label == "Lead"
        assert (own.remedy, own.severity, own.part) == (
            CODES["CABLE"].remedy,
            CODES["CABLE"].severity,
            CODES["CABLE"].part,
        )

    def test_taking_a_remedy_away_ends_the_wait_for_it(self) -> None:
        own = catalogue({"CABLE": FaultText("CABLE", remedy=())})["CABLE"]
        assert try_for(own, Settings()) == timedelta()

    def test_a_remedy_cannot_turn_a_lost_device_into_one_mended_in_class(self) -> None:
        own = catalogue({"LOST": FaultText("LOST", remedy=("Look in the lost-property box.",))})["LOST"]
        assert try_for(own, Settings()) == timedelta()

    def test_an_emergency_stays_one(self) -> None:
        own = catalogue({"SWALLOWED": FaultText("SWALLOWED", severity=Severity.WATCH)})["SWALLOWED"]
        assert own.severity is Severity.EMERGENCY

    def test_what_staff_must_not_do_stays_said(self) -> None:
        own = catalogue({"SORE": FaultText("SORE", never=("Do not rub.",))})["SORE"]
        assert own.never == ("Do not rub.", *CODES["SORE"].never)

    def test_the_shipped_catalogue_is_untouched(self) -> None:
        catalogue({"CABLE": FaultText("CABLE", label="Lead")})
        assert catalogue() == CODES


class TestWhichDeviceACodeFits:
    def test_a_cable_belongs_to_the_implant_side(self) -> None:
        assert fits(CODES["CABLE"], IMPLANT_AND_AID) == (Side.LEFT,)

    def test_a_flat_battery_may_be_on_either_side_until_one_is_named(self) -> None:
        assert fits(CODES["BAT"], BOTH_AIDS) == (Side.LEFT, Side.RIGHT)
        assert fits(CODES["BAT"], BOTH_AIDS, Side.RIGHT) == (Side.RIGHT,)

    def test_a_code_that_goes_with_none_of_the_devices_fits_nowhere(self) -> None:
        assert fits(CODES["CABLE"], BOTH_AIDS) == ()
        assert fits(CODES["CABLE"], IMPLANT_AND_AID, Side.RIGHT) == ()

    def test_the_classroom_microphone_counts_where_no_worn_device_fits(self) -> None:
        assert fits(CODES["LINK"], (*BOTH_AIDS, MICROPHONE)) == (None,)
        assert fits(CODES["WET"], (BOTH_AIDS[0], MICROPHONE)) == (Side.LEFT,)
        assert fits(CODES["WET"], (MICROPHONE,)) == (None,)


@given(st.sampled_from(list(CODES.values())), st.sampled_from([None, *Side]))
def test_a_side_only_narrows_which_device_a_code_fits(code: FaultCode, side: Side | None) -> None:
    devices = (*IMPLANT_AND_AID, MICROPHONE)
    assert set(fits(code, devices, side)) <= set(fits(code, devices))


def device(kind: DeviceKind, form: Form | None = None, power: Power | None = None) -> Device:
    return Device(kind, Side.LEFT, form, power)


EVERY_SHAPE = [device(made.kind, made.form) for made in forms() if made.kind is not DeviceKind.REMOTE_MIC]
CI, BONE = DeviceKind.COCHLEAR_IMPLANT, DeviceKind.BONE_CONDUCTION


class TestWhatAFormCanHave:
    @pytest.mark.parametrize("worn", EVERY_SHAPE, ids=str)
    def test_each_device_can_have_a_fault_in_each_of_its_parts(self, worn: Device) -> None:
        found = {code.part_of(seen) for code in CODES.values() for seen in code.seen_on(worn)}
        assert found - EVERYWHERE == shape_of(worn).parts

    @pytest.mark.parametrize("worn", EVERY_SHAPE, ids=str)
    def test_each_fault_it_can_have_has_one_to_four_steps_for_it(self, worn: Device) -> None:
        able = [code for code in CODES.values() if code.seen_on(worn)]
        assert all(1 <= len(code.said_of(code.remedy, [worn])) <= 4 for code in able)

    def test_a_single_unit_has_no_cable_and_no_hook(self) -> None:
        single, usual = device(CI, Form.SINGLE_UNIT), device(CI)
        assert {code for code in CODES if CODES[code].seen_on(usual)} - {
            code for code in CODES if CODES[code].seen_on(single)
        } == {"CABLE", "HOOK"}
        assert fits(CODES["CABLE"], [single, Device(CI, Side.RIGHT)]) == (Side.RIGHT,)

    def test_only_a_bone_processor_on_a_magnet_falls_off_as_one(self) -> None:
        forms_able = [form for form in (None, *forms_of(BONE)) if CODES["MAGNET"].seen_on(device(BONE, form))]
        assert forms_able == [Form.MAGNET]

    def test_nobody_is_told_to_pull_a_tab_off_a_battery_that_is_charged(self) -> None:
        charged = [device(DeviceKind.HEARING_AID, power=Power.RECHARGEABLE)]
        cell = [device(DeviceKind.HEARING_AID, power=Power.SIZE_13)]
        bat = CODES["BAT"]
        assert bat.said_of(bat.remedy, charged) == (
            "Put in a fresh cell or a charged battery of the kind on the student's card.",
        )
        assert bat.said_of(bat.remedy, cell) == bat.said_of(bat.remedy, [device(DeviceKind.HEARING_AID)]) == bat.remedy

    def test_what_none_of_the_devices_can_have_is_said_whole(self) -> None:
        cable = CODES["CABLE"]
        assert cable.said_of(cable.remedy, [MICROPHONE]) == cable.remedy

    def test_a_district_may_say_a_code_of_a_device_that_we_draw_without_the_part(self) -> None:
        codes = catalogue({"CABLE": FaultText("CABLE", devices=(DeviceKind.HEARING_AID,))})
        assert fits(codes["CABLE"], BOTH_AIDS) == (Side.LEFT, Side.RIGHT)


def test_what_only_the_trained_do_says_so() -> None:
    skilled = {code: {only.skill for only in CODES[code].only.values() if only.skill} for code in CODES}
    assert {code: skills for code, skills in skilled.items() if skills} == {
        "CABLE": {Skill.CABLE}, "COIL": {Skill.CABLE}, "MIC": {Skill.COVERS}, "BAND": {Skill.ADHESIVE},
        "MOULD": {Skill.EARMOULD},
    }  # fmt: skip
