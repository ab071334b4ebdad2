"""What a short answer means after a question, a correction after words, a round after "which?": texts to texts.

The rule of `core/follow_ups`: an answer is read together with what it answers, speaks of nobody who was not asked
about, and is never better news than was said. The wordings are from memory.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core.district import Device, DeviceKind, Side
from service.core.follow_ups import Choice, Reader, answered, chosen, corrected
from service.core.reading import Asked, AskedStudent, Audience, Doubt, Question, Reading
from service.core.replies import default_words

LEFT, RIGHT = Device(DeviceKind.COCHLEAR_IMPLANT, Side.LEFT), Device(DeviceKind.COCHLEAR_IMPLANT, Side.RIGHT)
STUDENTS = (
    AskedStudent(1, "Wren", (LEFT,)),
    AskedStudent(2, "Moss", (LEFT, RIGHT)),
    AskedStudent(3, "Fern", (RIGHT,)),
)
READER = Reader(Asked(Audience.CHECKER, STUDENTS), default_words())
ROUNDS = (Choice("1", "08:05", "12"), Choice("2", "08:20", "7"))


def said(before: str, text: str, *asked: Question) -> Reading | None:
    return answered(text, asked or READER.read(before).questions, before, READER)


def results(reading: Reading | None) -> dict[int, str] | None:
    if reading is None:
        return None
    codes = {n: o.faults[0].code if o.faults else o.result.value for n, o in reading.outcomes.items()}
    return dict(sorted(codes.items()))


@pytest.mark.parametrize(
    ("before", "text", "meant"),
    [
        ("battery dead", "2", {2: "BAT"}),
        ("battery dead", "Moss", {2: "BAT"}),
        ("battery dead", "1 and 3", {1: "BAT", 3: "BAT"}),
        ("7 battery", "2", {2: "BAT"}),
        ("2 not ok", "battery", {2: "BAT"}),
        ("2 not ok", "rest ok", {1: "working", 3: "working"}),
        ("2 weird", "its working", {2: "working"}),
        ("2 seems fine", "yes", {2: "working"}),
        ("2 seems fine", "no", {}),
        ("2 seems fine", "ok", {2: "working"}),
        ("2 ok?", "ok", {2: "working"}),
        ("2 left ok", "both", {2: "working"}),
        ("2 left ok", "right", {}),
        ("2 left ok", "left", {}),
        ("2 left ok", "ok", {}),
        ("2 left ok", "right is dead", {2: "POWER"}),
        ("2 not ok", "ok", {}),
        ("2 weird", "all ok", {}),
        ("2 not here yet", "ok", {}),
        ("2 not here yet", "away", {2: "away"}),
        ("2 not here yet", "ok working now", {2: "working"}),
        ("2 weird", "gnrf", {}),
    ],
)
def test_an_answer_means_what_it_answers(before: str, text: str, meant: dict[int, str]) -> None:
    assert results(said(before, text)) == meant


@pytest.mark.parametrize(
    ("before", "text"),
    [
        ("2 weird", "help"),
        ("2 weird", "3 ok"),
        ("2 weird", "undo"),
        ("battery dead", "2?"),
        ("2 not here yet", "thanks"),
        ("gnrf", "ok"),
        ("2 weird", "somebody swallowed a battery"),
    ],
)
def test_what_stands_by_itself_is_read_by_itself(before: str, text: str) -> None:
    assert said(before, text) is None


def test_ok_to_we_ask_again_is_asked_whether_it_works() -> None:
    reading = said("2 not here yet", "ok")
    assert reading is not None
    assert reading.questions == (Question(Doubt.HEDGED, (2,)),)


def test_a_question_that_was_not_answered_stays() -> None:
    reading = said("", "yes", Question(Doubt.HEDGED, (2,)), Question(Doubt.NOT_OK, (3,)))
    assert reading is not None
    assert results(reading) == {2: "working"}
    assert reading.questions == (Question(Doubt.NOT_OK, (3,)),)


PIECES = ["ok", "yes", "no", "2", "1", "fine", "rest", "all", "not", "left", "both", "works", "battery", "later", "?"]


@given(
    st.sampled_from([d for d in Doubt if d is not Doubt.PLEASE_ACT]),
    st.sets(st.sampled_from([1, 2, 3]), min_size=1, max_size=2),
    st.lists(st.sampled_from(PIECES), min_size=1, max_size=4),
)
def test_good_news_is_of_those_asked_about_or_of_those_named(doubt: Doubt, numbers: set[int], words: list[str]) -> None:
    text = " ".join(words)
    reading = said("", text, Question(doubt, tuple(sorted(numbers))))
    good = {n for n, o in reading.outcomes.items() if o.result.value in ("working", "fixed")} if reading else set()
    assert good <= numbers


@pytest.mark.parametrize(
    ("text", "before", "meant"),
    [
        ("no wait, 2 not 3", "3 battery, rest ok", "2 battery, rest ok"),
        ("sorry left not right", "2 right cable", "2 left cable"),
        ("fern not moss", "moss cable", "fern cable"),
        ("no, 2 no 3", "3 bateria", "2 bateria"),
        ("2 pas 3", "3 pile vide", "2 pile vide"),
        ("3 not 2", "3 battery", None),
        ("2 not 3", "3 battery, 3 cable", None),
        ("2 not ok", "2 ok", None),
        ("3 not working", "3 working", None),
        ("left not working", "left working", None),
        ("no wait, 2", "3 battery", None),
    ],
)
def test_a_correction_puts_one_student_or_side_in_the_place_of_another(
    text: str, before: str, meant: str | None
) -> None:
    assert corrected(text, before, READER) == meant


@pytest.mark.parametrize(
    ("text", "which"),
    [
        ("1", (0,)),
        ("2.", (1,)),
        ("08:05", (0,)),
        ("820", (1,)),
        ("the 8:05 one", (0,)),
        ("Room 7", (1,)),
        ("7", ()),
        ("both", (0, 1)),
        ("3", ()),
        ("1 ok", ()),
        ("ok", ()),
    ],
)
def test_a_round_is_named_by_number_time_or_room(text: str, which: tuple[int, ...]) -> None:
    assert chosen(text, ROUNDS) == which
