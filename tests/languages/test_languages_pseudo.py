"""Everything that people read goes through a catalogue: screens and letters in wide letters hold no narrow word."""

import re
from html import unescape
from html.parser import HTMLParser

import pytest
from fastapi.testclient import TestClient
from languages_wide import LOCALE, widened
from letters_made import READERS
from test_wording_plain import letters
from web_district import BOARD_KEY, BROWSER, Morning

from service.core.days import SchoolDay
from service.core.reading import Fault, Outcome, Result
from service.core.sounds import SIX
from service.engine import commands
from service.web.app import create_app
from service.web.sentences import SAID
from service.wording import by_link, compose, compose_many, fill

ROUND = "rd-hollow-road-2026-09-15-0805-l-teal"
ZONES = ("CDT", "MDT", "EDT", "MST", "PDT")
NARROW = re.compile(r"[A-Za-z]{2,}")


class Read(HTMLParser):
    """What a page says to eye and ear; commands shown as examples (`<i>`, placeholders) are typed as they stand."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.aside: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("i", "script", "style"):
            self.aside.append(tag)
        self.words += [value or "" for name, value in attrs if name in ("aria-label", "alt")]

    def handle_endtag(self, tag: str) -> None:
        if self.aside and self.aside[-1] == tag:
            self.aside.pop()

    def handle_data(self, data: str) -> None:
        if not self.aside:
            self.words.append(data)


def narrow(text: str, own: frozenset[str] = frozenset()) -> set[str]:
    known = {word.lower() for word in own}
    return {word for word in NARROW.findall(unescape(text)) if word.lower() not in known}


def narrow_on(page: str, own: frozenset[str]) -> set[str]:
    read = Read()
    read.feed(page)
    return narrow(" ".join(read.words), own)


@pytest.fixture
def own(morning: Morning) -> frozenset[str]:
    """Words of the district's own (names, aliases, rooms, bells, terms, faults), the six sounds, zones of the clock."""
    with morning.desk.glance() as m:
        held = m.district
        days = [m.day(id, m.today(id)) for id in held.schools]
        names = [
            *(person.name for person in held.people.values()),
            *(f"{student.alias} {student.room}" for student in held.students.values()),
            *(f"{school.name} {[term.name for term in school.terms]}" for school in held.schools.values()),
            *(bell.name for day in days if isinstance(day, SchoolDay) for bell in day.bells),
            *(repr(fault) for fault in held.faults.values()),
            *(str(notice.text) for notice in m.notices),
            f"{held.emergency}",
        ]
    return frozenset(NARROW.findall(" ".join(names))) | {*SIX, *ZONES}


@pytest.mark.parametrize("to", READERS, ids=lambda to: f"{to.role.value}{' shared' * to.shared}")
def test_no_word_of_a_letter_is_outside_the_catalogue(wide_language, to):
    found = set()
    for letter in map(widened, letters(to)):
        written = compose(letter)
        found |= narrow(f"{written.subject} {fill(written.text, None)}")
    assert not found


def test_no_word_of_a_message_of_several_is_outside_the_catalogue(wide_language):
    for to in READERS:
        held = [widened(letter) for letter in letters(to)]
        for n in range(0, len(held), 7):
            written = compose_many(held[n : n + 7])
            assert not narrow(fill(by_link(written.text, LOCALE), None))


@pytest.fixture
def client(morning: Morning, wide_language: None):
    with TestClient(create_app(morning.desk, morning.options()), headers=BROWSER) as made:
        yield made


def test_no_word_of_the_phone_page_is_outside_the_catalogue(client, morning, own):
    morning.play_to("08:06")
    path = morning.round_path(ROUND, "l-teal")
    assert not narrow_on(client.get(path).text, own)
    outcomes = {1: Outcome(Result.FAULT, (Fault("CABLE"),)), 2: Outcome(Result.AWAY)}
    commands.press(morning.desk, "l-teal", ROUND, outcomes, "one", shown=True)
    for wall in ("08:06", "08:40", "17:00"):
        morning.play_to(wall)
        assert not narrow_on(client.get(path).text, own)


def test_no_word_of_anybodys_standing_page_is_outside_the_catalogue(client, morning, own):
    morning.play_to("08:31")
    with morning.desk.glance() as m:
        people = [p.id for p in m.district.people.values()]
    for person in people:
        shown = client.get(morning.standing_path(person))
        assert not narrow_on(shown.text, own), person


def test_no_word_in_an_emergency_is_outside_the_catalogue(client, morning, own):
    morning.play_to("08:06")
    swallowed = {1: Outcome(Result.FAULT, (Fault("SWALLOWED"),))}
    commands.press(morning.desk, "l-teal", ROUND, swallowed, "one", shown=True)
    morning.step()
    assert not narrow_on(client.get(morning.round_path(ROUND, "l-teal")).text, own)


def test_no_word_of_the_board_is_outside_the_catalogue(client, morning, own):
    assert not narrow_on(client.get("/board").text, own)
    client.post("/board/key", data={"key": BOARD_KEY})
    for wall in ("07:30", "08:06", "08:31", "12:00", "17:00"):
        morning.play_to(wall)
        assert not narrow_on(client.get("/board").text, own), wall


@pytest.mark.parametrize("path", ["/nowhere", "/r/none/nobody/none", "/s/nobody/none"])
def test_no_word_of_a_refusal_is_outside_the_catalogue(client, own, path):
    assert not narrow_on(client.get(path).text, own)


def test_no_sentence_after_a_press_is_outside_the_catalogue(client, morning, own):
    morning.play_to("08:06")
    path = morning.round_path(ROUND, "l-teal")
    for word in SAID:
        assert not narrow_on(client.get(path, params={"said": word}).text, own), word


def test_a_sentence_that_is_outside_the_catalogue_is_seen(wide_language):
    assert narrow_on("<p>ｗｉｄｅ and narrow</p>", frozenset()) == {"and", "narrow"}
