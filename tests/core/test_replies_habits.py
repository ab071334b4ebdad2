"""What a word is in the company it keeps: each habit of telling beside its dangerous neighbour.

The sentences are from memory, in the manner of the labelled replies.
"""

import pytest

from service.core.district import Device, DeviceKind, Side
from service.core.reading import Asked, AskedStudent, Audience, Command, Reading, Result
from service.core.replies import read
from tests.core.replies_labelled import WORDS

AIDS = tuple(Device(DeviceKind.HEARING_AID, side) for side in (Side.LEFT, Side.RIGHT))
IMPLANT = (Device(DeviceKind.COCHLEAR_IMPLANT, Side.LEFT),)
STUDENTS = (AskedStudent(1, "Ada", AIDS), AskedStudent(2, "Ben", IMPLANT), AskedStudent(3, "Cyd", AIDS))
ROUND = Asked(Audience.CHECKER, STUDENTS)
ALONE = Asked(Audience.CHECKER, STUDENTS[:1])
WEARER = Asked(Audience.CHECKER, STUDENTS[1:2])
CONTACT = Asked(Audience.CONTACT, STUDENTS[1:2])


def said(text: str, asked: Asked = ROUND) -> Reading:
    return read(text, asked, WORDS)


def results(reading: Reading) -> dict[int, str]:
    """The results by student, with their codes."""
    told = {n: (o.result.value, *(f.code for f in o.faults)) for n, o in reading.outcomes.items()}
    return {n: " ".join(words) for n, words in told.items()}


ALL = {1: "working", 2: "working", 3: "working"}


@pytest.mark.parametrize(
    "text",
    [
        "ok, my back is killing me today", "all good but I am tired", "all ok, Ben brought cupcakes",
        "all fine. my phone is at 2 percent", "all ok. I changed the batteries yesterday", "ok, Cyd turns 9 tomorrow",
        "all good, we had cake for breakfast", "all ok we're in the gym till 9", "whole crew is working",
        "all ok, Ada says her brother is sick", "all 3 good, took 4 minutes", "all good, Mrs Lane is out so I did it",
    ],
)  # fmt: skip
def test_chatter_beside_a_clear_result_turns_nothing(text: str) -> None:
    assert (results(said(text)), said(text).command, said(text).ask) == (ALL, None, False)


@pytest.mark.parametrize(
    "text",
    [
        "all ok, Ben is out", "all ok, it fell off", "all good but Ada is tired", "ok, Ben lost it", "all ok, 2 bat",
        "all ok. Ada sick after the party", "not a busy morning, all ok?", "I think the party went well so all ok",
        "all ok I think", "all good, the party is later maybe", "all ok but the left one crackles",
    ],
)  # fmt: skip
def test_what_may_be_about_a_student_or_the_news_is_no_chatter(text: str) -> None:
    assert results(said(text)) != ALL


@pytest.mark.parametrize(
    ("text", "read_as"),
    [
        ("first two ok", {1: "working", 2: "working"}),
        ("the last one is out", {3: "away"}),
        ("2's fine", {2: "working"}),
        ("did Ada and Ben. all good", {1: "working", 2: "working"}),
        ("1-2 ok so far", {1: "working", 2: "working"}),
        ("Ada n the rest fine", ALL),
        ("only 2 is out, otherwise all good", {1: "working", 2: "away", 3: "working"}),
        ("no Ben today", {2: "away"}),
        ("no school for Ben today", {2: "away"}),
        ("all but 2 good. 2 away", {1: "working", 2: "away", 3: "working"}),
        ("Beenn ok", {}),
        ("Aad ok", {}),
    ],
)
def test_who_is_meant(text: str, read_as: dict[int, str]) -> None:
    assert results(said(text)) == read_as


@pytest.mark.parametrize("text", ["one of them needs a battery", "the twins are both out", "2 good 1 bad"])
def test_a_group_or_a_count_that_names_nobody_is_asked_about(text: str) -> None:
    assert (results(said(text)), said(text).ask) == ({}, True)


def test_a_slip_of_the_thumb_in_a_long_name_is_that_name_and_another_letter_is_not() -> None:
    asked = Asked(Audience.CHECKER, (AskedStudent(1, "Lumi", AIDS), AskedStudent(2, "Enzo", AIDS)))
    assert results(said("Lummi ok", asked)) == {1: "working"}
    assert results(said("Lumo ok", asked)) == {}


@pytest.mark.parametrize(
    ("text", "read_as"),
    [
        ("new batt in, hears fine", "fixed BAT"),
        ("cleaned the wax out of the mold, sounds great", "fixed MOULD"),
        ("left was dead. ok", "fixed POWER"),
        ("took out the battery and put it back, works again", "fixed BAT"),
        ("needed new batteries. done. both working", "fixed BAT"),
        ("charged it 20 min, good now", "fixed BAT"),
        ("bat replcaed, ok now", "fixed BAT"),
        ("battery is fine its the tubing", "fault MOULD"),
        ("pushed the mould in 3x still squeals", "fault WHISTLE"),
        ("needed new batteries. done. both dead", "fault BAT POWER POWER"),
    ],
)
def test_stories_of_a_fault(text: str, read_as: str) -> None:
    assert results(said(text, ALONE)).get(1) == read_as


def test_a_remedy_before_the_name_is_of_whom_it_is_said_to_work() -> None:
    assert results(said("put a new battery in two and it works")) == {2: "fixed BAT"}


def test_a_correction_in_the_same_reply_replaces() -> None:
    assert results(said("2 cable.. scratch that its the coil")) == {2: "fault COIL"}
    assert results(said("Ada cord broken, no, meant Ben")) == {2: "fault CABLE"}
    assert said("scratch that").command is Command.UNDO


def test_the_sounds_that_were_repeated_are_not_those_missed() -> None:
    outcome = said("ah ee oo m yes, sh s no", ALONE).outcomes[1]
    assert (outcome.result, outcome.missed_sounds) == (Result.FAULT, ("sh", "s"))
    assert said("said s for sh", ALONE).outcomes[1].missed_sounds == ("sh",)


def test_a_blow_told_as_a_story_needs_trouble_told_with_it() -> None:
    hit = "took a dodgeball to the head and now hears nothing"
    assert results(said(hit, WEARER)) == {2: "fault KNOCK"}
    assert "KNOCK" not in str(results(said("ok, took a hat off his head", WEARER)))


def test_a_loaner_that_stays_till_later_is_fitted_and_one_that_is_wanted_is_not() -> None:
    assert said("spare processor on him till his comes back from the shop", CONTACT).command is Command.LOANER
    assert said("no loaners left in the closet", CONTACT).command is None


def test_a_contact_who_can_come_today_takes_it_and_tonight_is_no_help() -> None:
    assert said("I can drop off new batteries at lunch", CONTACT).command is Command.MINE
    assert said("we will charge it tonight sorry", CONTACT).command is None
