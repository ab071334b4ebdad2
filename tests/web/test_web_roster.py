"""Before a term: the checker's answer on the standing page, and the coordinator's list on the board."""

import re

import pytest
from web_district import BOARD_KEY, Morning, at

from service.engine import roster
from service.store import marks


@pytest.fixture
def asked(morning: Morning) -> str:
    """Winter holidays: next week Spring term begins, and L. Teal was asked."""
    morning.clock.move_to(at("08:00", "2026-12-30"))
    assert roster.ask_all(morning.desk) > 0
    with morning.desk.glance() as m:
        return next(a.key for a in roster.asked_of(m, "l-teal"))


def test_one_button_says_that_it_is_right(phone, morning, asked):
    path = morning.standing_path("l-teal")
    assert "do you check these?" in phone.look(path).text

    answer = phone.press(path, f"roster:{asked}:right")

    assert "The coordinator sees it" in answer.text
    assert "do you check these?" not in answer.text


def test_a_correction_goes_to_the_coordinator_word_for_word(phone, client, morning, asked):
    path = morning.standing_path("l-teal")
    phone.press(path, f"roster:{asked}:wrong", **{f"words:{asked}": "Wren is in <b>room 14</b>"})

    client.post("/board/key", data={"key": BOARD_KEY})
    board = client.get("/board").text

    assert re.search("something is different: “Wren is in &lt;b&gt;room 14&lt;/b&gt;”", board)


def test_a_correction_without_words_changes_nothing(phone, morning, asked):
    answer = phone.press(morning.standing_path("l-teal"), f"roster:{asked}:wrong")

    assert answer.status_code == 422
    with morning.store.reading() as tx:
        mark = marks.get(tx, asked)
        assert mark is not None
        assert "right" not in mark.body


def test_nobody_answers_for_another(phone, morning, asked):
    answer = phone.press(morning.standing_path("r-moss"), f"roster:{asked}:right")

    assert answer.status_code == 422
