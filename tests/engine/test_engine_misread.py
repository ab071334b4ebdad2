"""Somebody is asked back twice and still not understood: the coordinator hears it once and can read what they typed."""

import pytest
from starlette.testclient import TestClient

from service.engine import doors
from service.engine.desk import Desk
from service.web.app import create_app
from service.web.options import WebOptions
from tests.engine.engine_morning import broken_streams
from tests.engine.engine_talk import CHECKER, Talk, talk

__all__ = ["talk"]

ODD = ("the purple one did a thing", "you know, like <b>Tuesday</b>", "the usual thing")
TOLD = "The checker wrote at 08:06 and at 08:06; we asked back both times."


def told(talk: Talk) -> list[str]:
    return [errand.text for errand in talk.receivers.told("C") if "did not understand" in errand.lock_line]


def link(talk: Talk, desk: Desk, person: str = "C") -> str:
    """The link of the message about it."""
    errand = next(e for e in talk.receivers.told("C") if e.typed)
    with desk.glance() as m:
        (opening,) = doors.openings(m, [errand], "http://testserver")
        return opening.link if person == "C" else opening.link.replace("/C/", f"/{person}/")


@pytest.fixture
def pages(desk: Desk) -> TestClient:
    options = WebOptions(base_url="http://testserver", board_key=None, hosts=("testserver",), stamp=desk.clock.now)
    return TestClient(create_app(desk, options))


def test_one_question_is_between_the_two_of_us_and_the_second_is_told(talk: Talk) -> None:
    talk.write(ODD[0])
    assert told(talk) == []
    talk.write(ODD[1])
    (text,) = told(talk)
    assert TOLD in text
    assert not [word for word in ("purple", "Tree", "Tuesday") if word in text]


def test_the_same_misunderstanding_is_told_once_however_long_it_lasts(talk: Talk) -> None:
    for words in ODD:
        talk.write(words)
    assert len(told(talk)) == 1


@pytest.mark.parametrize("between", ["1 ok", "not yet", "who"])
def test_words_that_were_understood_between_make_it_two_separate_questions(talk: Talk, between: str) -> None:
    talk.write(ODD[0])
    talk.write(between)
    talk.write(ODD[1])
    assert told(talk) == []


def test_a_part_that_was_understood_is_an_answer(talk: Talk) -> None:
    talk.write(ODD[0])
    talk.write("1 ok, 2 maybe ok")
    assert told(talk) == []


def test_the_link_shows_nothing_until_somebody_presses_and_then_the_record_says_who_read(
    talk: Talk, desk: Desk, pages: TestClient
) -> None:
    for words in ODD:
        talk.write(words)
    path = link(talk, desk)
    looked = pages.get(path)
    assert looked.status_code == 200
    assert "purple" not in looked.text
    assert _looks(desk) == []

    read = pages.post(path)

    assert "08:06: “the purple one did a thing”" in read.text
    assert "&lt;b&gt;Tuesday&lt;/b&gt;" in read.text
    assert "the usual thing" in read.text
    assert _looks(desk) == ["C"]
    assert "Read before: the coordinator, 08:06" in pages.get(path).text
    assert broken_streams(desk) == []


def test_the_link_opens_for_its_coordinator_alone_and_for_that_day(talk: Talk, desk: Desk, pages: TestClient) -> None:
    for words in ODD[:2]:
        talk.write(words)
    path = link(talk, desk)
    assert pages.post(link(talk, desk, CHECKER)).status_code == 404
    assert pages.post(path[:-1] + ("A" if path[-1] != "A" else "B")).status_code == 404
    talk.at("08:00", "2026-10-06")
    assert pages.post(path).status_code == 410
    assert _looks(desk) == []


def _looks(desk: Desk) -> list[str | None]:
    with desk.glance() as m:
        entries = [told.entry for told in desk.journal.read(m.tx, "school000/2026-10-05")]
    return [entry.actor for entry in entries if entry.kind == "looked"]
