"""The record: what was asked, said and followed; one student's record keeps the others' words to itself."""

import csv
import io
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import pytest

from service.engine import commands, planner
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.record import WITHHELD, Line, record
from service.store.base import Store
from service.verbs.record import COLUMNS, as_csv
from tests.engine.engine_district import district
from tests.engine.engine_morning import Receivers, at, open_desk, play_to, says

DAY = date(2026, 10, 5)
CHECKER = "school000-room0"


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    store = Store(f"sqlite:///{tmp_path / 'record.db'}")
    store.upgrade()
    made = open_desk(store, SteppedClock(at("07:00")))
    commands.configure(made, district(children=3), "C")
    planner.plan_all(made)
    return made


def lines(desk: Desk, student: str | None = None) -> dict[str, Line]:
    with desk.glance() as m:
        return {line.student: line for line in record(m, DAY, DAY, student=student)}


def said(desk: Desk, wall: str, words: Sequence[str]) -> None:
    receivers = Receivers()
    play_to(desk, wall, receivers)
    for n, text in enumerate(words):
        says(desk, CHECKER, text, f"{wall}-{n}")
    play_to(desk, wall, receivers)


def child(number: int) -> str:
    return f"{CHECKER}-child{number}"


def test_silence_is_in_it_as_unanswered_with_everybody_who_was_told(desk: Desk) -> None:
    play_to(desk, "10:00", Receivers())
    line = lines(desk)[child(0)]
    assert line.result == "unanswered"
    assert line.answers == ()
    assert line.minutes_to_answer is None
    told = [(m.person, m.purpose, m.outcome) for m in line.messages]
    assert told[:4] == [
        (CHECKER, "prompt", "accepted"),
        (CHECKER, "reminder", "accepted"),
        ("school000-second", "alert", "accepted"),
        ("C", "alert", "accepted"),
    ]
    assert line.followed == ("silence: unanswered",)


def test_an_answer_is_kept_word_for_word_with_the_minutes_it_took(desk: Desk) -> None:
    said(desk, "08:07", ["All OK, thx"])
    line = lines(desk)[child(0)]
    assert (line.result, line.minutes_to_answer) == ("working", 2)
    assert [a.words for a in line.answers] == ["All OK, thx"]


def test_a_fault_tells_how_long_it_took_to_working(desk: Desk) -> None:
    said(desk, "08:07", ["2 cable"])
    said(desk, "08:31", ["2 working"])
    line = lines(desk)[child(1)]
    assert [a.result for a in line.answers] == ["fault", "working"]
    assert line.minutes_to_working == 24
    assert lines(desk)[child(0)].minutes_to_working is None


def test_the_record_of_one_student_withholds_words_about_several_and_keeps_what_was_read(desk: Desk) -> None:
    said(desk, "08:07", ["1 ok, 2 cable, 3 away"])
    (answer,) = lines(desk, child(1))[child(1)].answers
    assert (answer.words, answer.result, answer.faults) == (WITHHELD, "fault", ("CABLE left",))
    assert lines(desk)[child(1)].answers[0].words == "1 ok, 2 cable, 3 away"


def test_it_keeps_words_that_speak_of_the_student_alone(desk: Desk) -> None:
    said(desk, "08:07", ["2 cable"])
    assert [a.words for a in lines(desk, child(1))[child(1)].answers] == ["2 cable"]


@pytest.mark.parametrize("text", ["2 cable, Tree00 is upset", "2 cable, 3 later"])
def test_it_withholds_words_that_name_another_child_even_where_nothing_was_recorded_for_it(
    desk: Desk, text: str
) -> None:
    said(desk, "08:07", [text])
    assert {a.words for a in lines(desk, child(1))[child(1)].answers} == {WITHHELD}


def test_a_record_holds_that_student_only(desk: Desk) -> None:
    assert list(lines(desk, child(2))) == [child(2)]


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r"])
def test_no_cell_of_the_csv_can_be_taken_for_a_formula(desk: Desk, sign: str) -> None:
    with desk.glance() as m:
        (line, *_) = record(m, DAY, DAY)
        bad = Line(**{**vars(line), "alias": f"{sign}1+1", "room": f'{sign}HYPERLINK("x")'})
        rows = list(csv.reader(io.StringIO(as_csv(m.district, [bad]), newline="")))
    cells = dict(zip(COLUMNS, rows[1], strict=True))
    assert cells["alias"] == f"'{sign}1+1"
    assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in rows[1])


def test_words_that_begin_like_a_formula_are_safe_in_the_csv_too(desk: Desk) -> None:
    said(desk, "08:07", ['=HYPERLINK("http://x","2 cable")'])
    with desk.glance() as m:
        rows = list(csv.reader(io.StringIO(as_csv(m.district, record(m, DAY, DAY)), newline="")))
    assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for row in rows for cell in row)
