"""What people tell beside the news: when they checked, where the class is, who writes, what the cupboard wants.

Each way of telling stands beside its dangerous neighbour. The sentences are from memory, in the manner of the
labelled replies.
"""

from time import process_time

import pytest

from service.core.reading import Audience, Command, Reading, Result
from tests.core.replies_labelled import WORDS
from tests.core.test_replies_habits import ALL, ALONE, CONTACT, ROUND, WEARER, results, said

PLAIN = (ALL, None, False)


def told(reading: Reading) -> tuple[dict[int, str], Command | None, bool]:
    """Results, command, and whether anything is asked."""
    return results(reading), reading.command, reading.ask


@pytest.mark.parametrize(
    "text",
    [
        "all good no worries", "ok, thanks",
        "all ok, kids are off to assembly", "all ok we're heading to music", "all ok heading out to recess",
        "all good we did the check right after breakfast", "all good did it before morning circle",
        "all ok took me 4 minutes", "all ok only took 2 minutes", "all ok in under 3 minutes",
        "all ok sorry just saw this", "all ok. forgot to send this earlier", "all ok, texting from my own phone",
        "ok all 3. sub in the room today", "all ok. I'm the sub today", "all ok. I will be out tomorrow",
        "all ok. no school tomorrow", "all ok - Kim", "all ok (checked by Marisol)", "Dana here. All ok",
        "all ok Ben helped me check", "all ok, Ada and Ben are line leaders", "all ok, Ben will be out tomorrow",
        "all ok. batteries came in the mail yesterday thanks", "all ok new tubes look good", "Oct 6 all ok",
        "all ok. emailed you about the FM", "never mind, all working", "mine are all ok", "los 3 bien",
        "todo bien. mañana no vengo", "tout va bien, demain je suis absente", "todo bien, gracias por las pilas",
    ],
)  # fmt: skip
def test_what_is_told_of_the_check_the_day_or_the_writer_turns_nothing(text: str) -> None:
    assert told(said(text)) == PLAIN


@pytest.mark.parametrize(
    "text",
    [
        "all ok we think", "all ok, will check after lunch", "all ok. will check them after breakfast",
        "all ok, ill do it after music", "all ok. they come in after breakfast", "all ok, before breakfast they were",
        "all ok, don't know about music group", "all ok did not check at the door", "all ok, Ben away till tomorrow",
        "all ok, will do it in the morning", "ok, will do", "ok will do thanks", "all fine, in the morning",
        "ok, noted", "ok. got it", "fine, got it thanks", "okay, understood", "ok! roger that",
        "all ok, Ben is out", "all ok took the left one off", "all ok, Ben helped himself to a dead battery",
        "all ok - Brn", "all ok but we need a cable for Ben", "Jonah all ok", "all ok, tomorrow",
    ],
)  # fmt: skip
def test_what_may_be_of_the_news_or_of_a_student_still_turns_it(text: str) -> None:
    assert told(said(text)) != PLAIN


def test_the_cupboard_that_wants_more_is_no_exception_and_a_person_looks() -> None:
    reading = said("all ok but we need more batteries")
    assert (results(reading), reading.ask) == (ALL, True)


@pytest.mark.parametrize(
    ("text", "read_as"),
    [
        ("la pila de Ben está muerta", {2: "fault BAT"}),
        ("el cable de Ben está suelto", {2: "fault CABLE"}),
        ("la bobina de Ben no pega", {2: "fault MAGNET"}),
        ("l'antenne de Ben tombe", {2: "fault MAGNET"}),
        ("le câble de Ben est abîmé, les autres ok", {1: "working", 2: "fault CABLE", 3: "working"}),
        ("l'embout de Cyd est bouché", {3: "fault MOULD"}),
    ],
)
def test_in_spanish_and_french_a_part_comes_before_its_owner(text: str, read_as: dict[int, str]) -> None:
    assert results(said(text)) == read_as
    assert not said(text).ask


def test_an_elided_article_is_no_side() -> None:
    assert said("l'appareil siffle", ALONE).outcomes[1].faults[0].side is None
    assert said("lbat", ALONE).outcomes[1].faults[0].side == "left"


@pytest.mark.parametrize(
    ("text", "missed"), [("5 of 6, missed s", ("s",)), ("5/6 missed s", ("s",)), ("5 out of 6 missed m", ("m",))]
)
def test_a_score_counts_sounds_and_no_student(text: str, missed: tuple[str, ...]) -> None:
    outcome = said(text, ALONE).outcomes[1]
    assert (outcome.result, outcome.missed_sounds, said(text, ALONE).ask) == (Result.FAULT, missed, False)


def test_a_fault_beside_missed_sounds_is_not_lost() -> None:
    faults = said("1 missed s and battery flat").outcomes[1].faults
    assert [fault.code for fault in faults] == ["SOUND", "BAT"]


def test_a_side_named_anew_after_no_replaces_the_first() -> None:
    fault = said("1L no 1R bat").outcomes[1].faults[0]
    assert (fault.code, fault.side, said("1L no 1R bat").ask) == ("BAT", "right", False)


@pytest.mark.parametrize(
    ("text", "minutes"), [("espera 10", 10), ("attendez 10 minutes svp", 10), ("give us ten", 10), ("wait 20 min", 20)]
)
def test_a_wish_to_wait_in_any_language_has_its_minutes(text: str, minutes: int) -> None:
    reading = said(text)
    assert (reading.command, reading.minutes, reading.ask) == (Command.WAIT, minutes, False)


def test_a_contact_who_brings_a_spare_in_ten_minutes_has_ten_minutes() -> None:
    reading = said("I'm bringing spare batteries in 10 min", CONTACT)
    assert (reading.command, reading.minutes) == (Command.MINE, 10)
    assert CONTACT.audience is Audience.CONTACT


def test_where_spares_are_kept_is_no_fault_and_a_flat_one_there_is() -> None:
    assert results(said("his batteries are in his backpack", WEARER)) == {}
    assert results(said("the battery in his bag is flat", WEARER)) == {2: "fault BAT"}


def test_a_meeting_that_moved_to_three_is_no_student_who_left() -> None:
    assert results(said("meeting moved to 3", ROUND)) == {}
    assert results(said("3 moved away", ROUND)) == {3: "away"}


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("help", "help: help"),
        ("give me 20 minutes please", "wait 20: give me 20"),
        ("not me", "not-me: not me"),
        ("undo that", "undo: undo that"),
    ],
)
def test_the_words_behind_a_command_are_told(text: str, why: str) -> None:
    assert why in said(text).because


@pytest.mark.parametrize(
    ("text", "why"), [("mine 45", "mine 45: mine 45"), ("new battery in, works", "working: new battery in works")]
)
def test_the_words_behind_what_a_contact_asks_of_the_service_are_told(text: str, why: str) -> None:
    assert why in said(text, CONTACT).because


def test_a_question_about_a_part_is_a_plea_for_help_and_no_fault_of_it() -> None:
    reading = said("what is the coil", WEARER)
    assert (results(reading), reading.command) == ({}, Command.HELP)
    assert results(said("what, the coil is broken", WEARER)) == {2: "fault COIL"}


def test_thanks_for_telling_makes_an_ok_an_answer_to_us() -> None:
    assert (results(said("ok thanks for letting me know")), said("ok thanks for letting me know").ask) == ({}, True)


def test_half_an_hour_is_thirty_minutes_wherever_it_stands() -> None:
    assert said("can be there in half an hour", CONTACT).minutes == 30


def test_both_cells_that_were_changed_are_both_sides() -> None:
    faults = said("changed both batteries all good", ALONE).outcomes[1].faults
    assert [(fault.code, fault.side) for fault in faults] == [("BAT", "left"), ("BAT", "right")]


def test_two_kilobytes_of_the_worst_are_read_in_time_that_grows_with_them() -> None:
    """The bound is generous, because machines differ: it is some 8 ms of processor on two busy shared cores."""
    texts = [" ".join(sorted(WORDS.known)[begin::211])[:2048] for begin in range(10)]
    begun = process_time()
    for text in texts:
        said(text)
    assert (process_time() - begun) / len(texts) < 0.05
