"""What no single slip of a thumb may take from a reply, and readings that go by habit."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from service.core.district import Device, DeviceKind, Side
from service.core.reading import Asked, AskedStudent, Audience, Result
from service.core.replies import read
from tests.core.replies_labelled import BLIND, HAND, OWN, WORDS, Case, asked_of, cases, reads_better, said_by
from tests.core.reply_slips import NEAR


def slips(text: str) -> Iterator[str]:
    """Every text that one slip of a thumb makes of `text`."""
    yield text.upper()
    yield text.replace(" ", "")
    for i, letter in enumerate(text):
        head, tail = text[:i], text[i + 1 :]
        if letter == " ":
            yield head + tail
        elif letter.isalpha():
            yield head + tail
            yield head + letter * 2 + tail
            yield from (head + near + tail for near in NEAR.get(letter.lower(), ""))
            if tail[:1].isalpha():
                yield head + tail[0] + letter + tail[1:]


# A slip of these is another whole reply with another meaning ("all but" to "al but", "no" to "n"); nobody could tell.
_COLLIDE = {"1 ok 2 no 3 ok", "they say they are ok", "lol", "0 ok", "gsu ok", "back working"}


@pytest.mark.parametrize("path", BLIND, ids=lambda path: str(path.stem))
def test_no_single_slip_makes_a_short_reply_of_other_hands_better_news(path: Path) -> None:
    better = []
    for case in cases(path):
        if len(case["text"]) > 40 or case.get("doubtful") or case["text"] in _COLLIDE:
            continue
        asked = asked_of(case)
        for text in slips(case["text"]):
            if reads_better(case, read(text, asked, WORDS)):
                better.append((case["text"], text))
    assert len(better) <= 1, better


def emergencies() -> list[Case]:
    every = [case for path in (*BLIND, *HAND, OWN) for case in cases(path)]
    return [case for case in every if case["expect"].get("emergency")]


@pytest.mark.parametrize("case", emergencies(), ids=lambda case: str(case["id"]))
def test_no_single_slip_hides_an_emergency_without_a_question(case: Case) -> None:
    hidden = []
    for text in slips(case["text"]):
        reading = said_by(case, text)
        good = any(o.result in (Result.WORKING, Result.FIXED) for o in reading.outcomes.values())
        if not reading.emergency and (good or not reading.ask):
            hidden.append(text)
    assert hidden == []


ADA = AskedStudent(1, "Ada", (Device(DeviceKind.HEARING_AID, Side.LEFT), Device(DeviceKind.HEARING_AID, Side.RIGHT)))
BEN = AskedStudent(2, "Ben", (Device(DeviceKind.COCHLEAR_IMPLANT, Side.LEFT),))
CYD = AskedStudent(
    3, "Cyd", (Device(DeviceKind.HEARING_AID, Side.LEFT), Device(DeviceKind.COCHLEAR_IMPLANT, Side.RIGHT))
)
ROUND = Asked(Audience.CHECKER, (ADA, BEN, CYD))


def faults_of(text: str) -> dict[int, list[tuple[str, str | None]]]:
    outcomes = read(text, ROUND, WORDS).outcomes
    return {n: [(f.code, f.side.value if f.side else None) for f in o.faults] for n, o in outcomes.items()}


@pytest.mark.parametrize("text", ["uno dos tres bien", "un deux trois ok", "uno, dos y tres bien", "1 dos tres ok"])
def test_numbers_are_counted_in_the_language_they_are_spoken_in(text: str) -> None:
    reading = read(text, ROUND, WORDS)
    assert {n: o.result.value for n, o in reading.outcomes.items()} == dict.fromkeys((1, 2, 3), "working")


@pytest.mark.parametrize(
    ("text", "missed"),
    [
        ("2 heard only m and oo", {"ah", "ee", "sh", "s"}),
        ("Ben only got ah", {"m", "oo", "ee", "sh", "s"}),
        ("2 only missed s", {"s"}),
    ],
)
def test_where_only_some_sounds_were_heard_the_others_were_missed(text: str, missed: set[str]) -> None:
    assert set(read(text, ROUND, WORDS).outcomes[2].missed_sounds) == missed


@pytest.mark.parametrize(
    "text",
    ["not 1, 2 bat", "2 bat, not 1", "1 bat\nsorry, 2 bat", "1 bat. No, 2 bat", "1 bat\nI meant 2", "not Ada, Ben bat"],
)
def test_a_student_who_is_set_aside_or_corrected_has_no_fault(text: str) -> None:
    assert faults_of(text) == {2: [("BAT", "left")]}


@pytest.mark.parametrize(
    "text", ["1 right, sorry left bat", "1R bat\nsorry 1L bat", "Ada right bat, sorry left", "1 right I mean left bat"]
)
def test_a_side_that_is_corrected_is_the_later_one(text: str) -> None:
    assert faults_of(text) == {1: [("BAT", "left")]}


def test_sorry_before_other_news_takes_nothing_back() -> None:
    assert faults_of("1L bat. sorry 2 is away") == {1: [("BAT", "left")], 2: []}


@pytest.mark.parametrize("text", ["1 left wet, now whistling", "1 left one fell out and is whistling"])
def test_what_goes_on_without_a_side_goes_on_about_the_side_named_before(text: str) -> None:
    assert ("WHISTLE", "left") in faults_of(text)[1]


@pytest.mark.parametrize(
    "text", ["no time", "not here yet", "no listening tube", "too noisy to check", "nobody showed me how"]
)
def test_a_reason_for_not_checking_settles_nobody_and_is_asked(text: str) -> None:
    reading = read(text, ROUND, WORDS)
    assert not reading.outcomes
    assert reading.ask or reading.command is not None


@pytest.mark.parametrize("text", ["3/3 ok", "3 of 3 fine", "3 out of 3 good", "all three ok", "the three are ok"])
def test_a_count_of_the_whole_round_is_the_whole_round(text: str) -> None:
    assert set(read(text, ROUND, WORDS).outcomes) == {1, 2, 3}


@pytest.mark.parametrize("text", ["2 of 3 ok", "4 of 4 ok", "2 kids ok"])
def test_a_count_of_another_number_settles_nobody_it_does_not_name(text: str) -> None:
    reading = read(text, ROUND, WORDS)
    assert not reading.outcomes
    assert reading.ask


@pytest.mark.parametrize(
    "tail",
    [
        "\n\nPriya Nandan\nGrade 2 Teacher\n(555) 014-2233",
        "\n\nPriya Nandan | Linden Elementary | 555-0142",
        "\n\n*****\nThis e-mail is confidential",
        "\n\n*P. Nandan*\n*Linden Elementary*",
    ],
)
def test_a_signature_of_any_form_takes_nothing_from_the_reply(tail: str) -> None:
    assert {n: o.result.value for n, o in read("all ok" + tail, ROUND, WORDS).outcomes.items()} == dict.fromkeys(
        (1, 2, 3), "working"
    )


def test_a_postscript_below_the_name_is_still_read() -> None:
    reading = read("All ok\n\nPriya Nandan\nGrade 2 Teacher\n\nPS Ben cable loose", ROUND, WORDS)
    assert [f.code for f in reading.outcomes[2].faults] == ["CABLE"]


@pytest.mark.parametrize("text", ["all ok, Ben complained about it", "all ok, Ben yanked his off", "all ok, Ben falt"])
def test_a_story_that_may_be_about_the_device_is_no_mere_story(text: str) -> None:
    reading = read(text, ROUND, WORDS)
    assert 2 not in reading.outcomes or reading.outcomes[2].result is Result.FAULT
    assert reading.ask


def test_a_story_about_a_student_takes_nothing_from_good_news() -> None:
    assert set(read("all ok, Ben brought cupcakes for his birthday", ROUND, WORDS).outcomes) == {1, 2, 3}
