"""Replies are read by habit, and never as better news than they are."""

import time

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from service.core.district import Device, DeviceKind, FaultText, Side
from service.core.reading import Aside, Asked, AskedStudent, Audience, Command, Fault, Reading, Result
from service.core.replies import default_words, read
from service.core.replies.page import as_json
from tests.core.replies_labelled import GOOD, WORDS

AID_LEFT, AID_RIGHT = Device(DeviceKind.HEARING_AID, Side.LEFT), Device(DeviceKind.HEARING_AID, Side.RIGHT)
IMPLANT_LEFT = Device(DeviceKind.COCHLEAR_IMPLANT, Side.LEFT)
ADA = AskedStudent(1, "Ada", (AID_LEFT, AID_RIGHT))
BEN = AskedStudent(2, "Ben", (IMPLANT_LEFT,))
CYD = AskedStudent(3, "Cyd", (AID_LEFT, Device(DeviceKind.COCHLEAR_IMPLANT, Side.RIGHT)))
ROUND = Asked(Audience.CHECKER, (ADA, BEN, CYD))
ALONE = Asked(Audience.CHECKER, (AskedStudent(1, "Ned", (AID_RIGHT,)),))
ALERT = Asked(Audience.CONTACT, (AskedStudent(1, "Ned", (AID_RIGHT,)),))


def heard(text: str, asked: Asked = ROUND) -> Reading:
    return read(text, asked, WORDS)


def results(reading: Reading) -> dict[int, str]:
    return {number: outcome.result.value for number, outcome in reading.outcomes.items()}


def good_news(reading: Reading) -> set[int]:
    return {number for number, result in results(reading).items() if result in GOOD}


# -- the asymmetric rule ---------------------------------------------------------------------------------

PLAIN_GOOD = [
    "ok", "all ok", "all good", "Everyone fine", "All working", "all 3 ok", "1 2 3 ok", "Ada ok Ben ok Cyd ok",
    "they are all working", "todo bien", "tout va bien", "👍", "ok, everyone is good",
]  # fmt: skip
TURNED = {
    "negation before": ("not {}", "not really {}", "never {}", "no es cierto, {}"),
    "negation after": ("{} not", "{} - not", "{}. not"),
    "hedge": ("I think {}", "maybe {}", "{} I guess", "{} probably", "hopefully {}", "{}, as far as I know", "{} ish"),
    "question": ("{}?", "is it {}?", "{} or not", "{}? not sure"),
    "exception": ("{} except 2", "{} but 2", "{} apart from Ben", "all except Ben {}", "{}, just not Ben"),
    "fault": ("{} but 2 bat", "{}. Ben cable", "{}, 2 dead", "{} 2 whistling", "{} and 2 is broken"),
    "later": ("{} later", "{} after assembly", "{} tomorrow", "will be {} soon", "{} when I check"),
    "past": ("{} yesterday", "it was {} yesterday", "{} last week"),
    "wish for time": ("{} give me 5", "{} hang on", "{} wait 10"),
}


@pytest.mark.parametrize("text", PLAIN_GOOD)
def test_plain_good_words_settle_the_whole_round(text: str) -> None:
    reading = heard(text)
    assert results(reading) == {1: "working", 2: "working", 3: "working"}
    assert not reading.ask


@pytest.mark.parametrize("kind", TURNED)
@pytest.mark.parametrize("text", PLAIN_GOOD)
def test_words_that_could_turn_good_news_stop_it_being_plain_good_news(text: str, kind: str) -> None:
    for turn in TURNED[kind]:
        reading = heard(turn.format(text))
        assert reading.ask or 2 not in good_news(reading), turn.format(text)
        assert good_news(reading) != {1, 2, 3}, turn.format(text)


@given(st.sampled_from(PLAIN_GOOD), st.text(alphabet="qxzjv", min_size=3, max_size=8))
def test_an_unknown_word_before_a_bare_good_word_is_asked_about(good: str, odd: str) -> None:
    assert good_news(heard(f"{odd} {good.split(',', maxsplit=1)[0]}")) in (set(), {2, 3}, {3})


# -- any text --------------------------------------------------------------------------------------------

_VOCABULARY = """
    ok all good not 1 2 3 9 L R bat cable Ada Ben rest except but away later ? . , ! no wait 10 min fixed was
    missed s sh undo help mine swallowed battery the and left right both other > -- On wrote: 👍 ✅
    n't isn't all-ok 5/6 1-3 8:05 todo bien sauf pas
"""
_PIECES = st.sampled_from(_VOCABULARY.split())


@given(st.one_of(st.text(max_size=300), st.lists(_PIECES, max_size=25).map(" ".join)))
@example("\ud800 ok")
@example("1-9999 ok")
@settings(max_examples=600, deadline=None)
def test_any_text_gives_a_reading_about_students_who_were_asked_about(text: str) -> None:
    for asked in (ROUND, ALONE, ALERT, Asked(Audience.CHECKER, ())):
        reading = heard(text, asked)
        numbers = {student.number for student in asked.students}
        assert set(reading.outcomes) <= numbers
        assert reading.pointed <= numbers
        assert all(o.faults or o.result is not Result.FAULT for o in reading.outcomes.values())


@given(st.text(alphabet="bcdfghjklmnpqrstvwxyz ", max_size=60).filter(lambda t: not set(t.split()) & WORDS.known))
@settings(max_examples=300, deadline=None)
def test_letters_that_are_no_words_are_never_good_news(text: str) -> None:
    assert not good_news(heard(text))


# -- time ------------------------------------------------------------------------------------------------


_PIECES_OF_WEIGHT = ["on ", "ok ", "1L bat ", "no ", "?", "Ben ", "1-40 ", "x", "> ", "s sh missed ", "On M wrote: \n"]


@pytest.mark.parametrize("piece", _PIECES_OF_WEIGHT)
def test_two_kilobytes_of_anything_are_read_in_a_few_milliseconds(piece: str) -> None:
    text = (piece * 2048)[:2048]
    best = min(_seconds(text) for _ in range(7))
    assert best < 0.02  # processor time; 5 ms is the goal and not met for every piece


def _seconds(text: str) -> float:
    start = time.process_time()
    heard(text)
    return time.process_time() - start


def test_a_long_reply_that_is_cut_off_is_never_plain_good_news() -> None:
    assert not good_news(heard("all ok " + "and so on " * 400 + "except 2"))


# -- what is said beside outcomes -------------------------------------------------------------------------


def test_a_blanket_ok_points_at_nobody_and_a_number_points_at_its_student() -> None:
    assert heard("all ok").pointed == frozenset()
    assert heard("2 ok").pointed == {2}
    assert heard("Ben ok").pointed == {2}


def test_a_contact_who_says_working_points_at_the_one_student_of_the_alert() -> None:
    reading = heard("working", ALERT)
    assert reading.command is Command.WORKING
    assert reading.pointed == {1}


def test_a_bare_ok_for_one_student_points_at_nobody() -> None:
    assert heard("ok", ALONE).pointed == frozenset()
    assert heard("Ned ok", ALONE).pointed == {1}


@pytest.mark.parametrize(
    ("text", "aside", "pointed"),
    [("yes", Aside.YES, set()), ("no", Aside.NO, set()), ("2 no", Aside.NO, {2}), ("found", Aside.FOUND, set()),
     ("with medical help", Aside.MEDICAL_HELP, set())],
)  # fmt: skip
def test_words_that_only_answer_a_question_are_asides_and_settle_nothing(
    text: str, aside: Aside, pointed: set[int]
) -> None:
    reading = heard(text)
    assert (reading.aside, reading.pointed, reading.ask) == (aside, pointed, True)
    assert not reading.outcomes


def test_a_reading_says_which_words_led_to_each_part() -> None:
    because = " / ".join(heard("1 L bat, 2 ok").because)
    assert "1 BAT" in because
    assert "bat" in because
    assert "2 working" in because


def test_a_district_can_add_its_own_words_for_a_fault() -> None:
    words = default_words(extra={"BAT": FaultText("BAT", words=("pila boton", "juice box"))})
    reading = read("2 juice box", ROUND, words)
    assert reading.outcomes[2].faults == (Fault("BAT", Side.LEFT),)


def test_a_district_can_add_a_code_of_its_own() -> None:
    words = default_words(extra={"GLITTER": FaultText("GLITTER", words=("covered in glitter",))})
    assert read("2 covered in glitter", ROUND, words).outcomes[2].faults == (Fault("GLITTER", Side.LEFT),)


def test_an_unknown_language_is_refused_by_name() -> None:
    with pytest.raises(FileNotFoundError, match="xx"):
        default_words(("en", "xx"))


def test_an_emergency_with_nobody_named_still_raises_the_alarm() -> None:
    reading = heard("somebody may have swallowed a battery")
    assert reading.emergency
    assert not reading.outcomes


@pytest.mark.parametrize(
    "text", ["BenSwallowedAMagnet", "ben swalowed it", "battery up his nose", "se trago la pila", "avalé une pile"]
)
def test_a_cell_or_magnet_in_a_child_is_an_emergency_however_it_is_typed(text: str) -> None:
    assert heard(text).emergency


def test_the_written_form_lists_sounds_only_with_a_sound_fault() -> None:
    written = as_json(heard("1 missed s, 2 bat"), "a")
    assert written["outcomes"] == {
        "1": {"result": "fault", "faults": [{"code": "SOUND", "side": None}], "missed_sounds": ["s"]},
        "2": {"result": "fault", "faults": [{"code": "BAT", "side": "left"}]},
    }


@pytest.mark.parametrize("text", ["cannot", "can't", "can't come, in a meeting", "no puedo", "je ne peux pas"])
def test_a_contact_who_cannot_come_says_so_in_a_word(text: str) -> None:
    reading = heard(text, ALERT)
    assert (reading.command, reading.ask, dict(reading.outcomes)) == (Command.CANNOT, False, {})


@pytest.mark.parametrize("text", ["can't come till 10", "can't get it to turn on", "cannot hear"])
def test_what_cannot_be_done_to_the_device_or_only_later_does_not_pass_the_alert_on(text: str) -> None:
    assert heard(text, ALERT).command is not Command.CANNOT


@pytest.mark.parametrize("asked", [ROUND, ALERT])
@pytest.mark.parametrize("text", ["who", "Who is told next?", "a quien avisan", "qui sera prévenu"])
def test_anyone_may_ask_who_hears_of_it_next(text: str, asked: Asked) -> None:
    assert (heard(text, asked).command, heard(text, asked).ask) == (Command.WHO, False)
    assert heard("who is this?", asked).command is None
