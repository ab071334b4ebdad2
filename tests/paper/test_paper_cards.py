"""Cards to print: what they say, and that it fits on its page."""

import re
from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import date

import pytest
from paper_read import read, sizes, words

from service.core.devices import catalogue
from service.core.district import District, Student
from service.core.forms import forms
from service.languages import speaking
from service.paper.cards import cards
from service.paper.pen import DoesNotFitError, Made
from service.setup import load
from service.web.drawings import drawing
from service.wording.cards import Card, office_card, student_card
from tests.cli.cli_run import DEMO, environment

PRINTED = date(2026, 10, 5)
A5 = (148, 210)
"""ISO 216, in mm."""


@pytest.fixture(scope="module")
def district() -> District:
    found = load(DEMO, environment()).district
    assert found is not None
    return found


def card_of(district: District, student: Student) -> Card:
    return student_card(district, catalogue(district.faults), student, PRINTED)


def made(found: Sequence[Card], language: str = "en") -> Made:
    with speaking(language):
        return cards(found, {shape: drawing(shape.kind, "", shape.form) for shape in forms()}, "Cards", language)


def said_by(card: Card) -> list[str]:
    """Every text of a card."""
    lines = [line for section in (*card.sections, card.emergency) for line in section.lines]
    heads = [section.heading for section in (*card.sections, card.emergency)]
    captions = [picture.caption for picture in card.pictures]
    return [card.title, card.place, card.foot, *captions, *heads, *(t for x in lines for t in (x.lead, x.text) if t)]


def named(names: Collection[str], text: str) -> list[str]:
    """Which names stand in a text as words of their own."""
    return [name for name in names if re.search(rf"\b{re.escape(name)}\b", text)]


@pytest.mark.parametrize("language", ["en", "es", "fr"])
def test_every_card_of_the_district_is_one_page_of_a5_and_says_all_of_it(district: District, language: str) -> None:
    with speaking(language):
        found = [card_of(district, student) for student in district.students.values()]
    printed = made(found, language)
    assert sizes(printed.pdf) == [A5] * len(district.students)
    assert printed.unshown == ()
    assert read(printed.pdf).trailer["/Root"]["/Lang"] == language
    for page, card in enumerate(found):
        text = words(printed.pdf, page)
        assert [said for said in said_by(card) if " ".join(said.split()) not in text] == []


def test_a_card_prints_whatever_must_never_be_done_about_a_sore(district: District) -> None:
    text = words(made([card_of(district, district.students["s-110"])]).pdf)
    assert "School staff never change or strengthen a magnet." in text
    assert [line for line in catalogue()["SORE"].never if line not in text] == []


def test_a_card_says_what_the_audiologist_typed_what_the_family_wishes_and_where_spares_lie(district: District) -> None:
    text = words(made([card_of(district, district.students["s-110"])]).pdf)
    assert "Left: green, slow blink: working. Orange, fast: battery low. No light: off or flat." in text
    assert "Charged battery from the blue pouch in the bag, then send us a message." in text
    assert "Cables (short). front office, the box with the moon. The family’s own, for this student alone." in text
    chain = "1. A. Vane (the audiologist) · 2. N. Sorrel (the nurse) · 3. C. Reed (the coordinator) · 4. the guardian"
    assert chain in text
    assert "Call 911 now" in text


def test_what_nobody_has_written_is_said_to_be_unknown(district: District) -> None:
    text = words(made([card_of(district, district.students["s-107"])]).pdf)
    assert "Not written yet: ask the audiologist." in text
    assert "What the family wants done first Not asked yet." in text
    assert "None on the list: ask the audiologist." in text


def test_no_family_and_no_other_child_is_named_on_a_card_and_no_child_on_the_offices(district: District) -> None:
    students = district.students.values()
    families = {person.name for person in district.people.values() if person.outside}
    for student in students:
        said = " ".join(said_by(card_of(district, student)))
        others = {other.alias for other in students} - {student.alias}
        assert named(families | others, said) == []
    for school in district.schools:
        said = " ".join(said_by(office_card(district, catalogue(district.faults), school, PRINTED)))
        assert named(families | {s.alias for s in students}, said) == []


def test_the_offices_card_says_who_checks_where_and_stands_in(district: District) -> None:
    card = office_card(district, catalogue(district.faults), "hollow-road", PRINTED)
    text = words(made([card]).pdf)
    assert "Room 12. L. Teal; stands in: R. Moss" in text
    assert "Nobody has answered. 1. the checker · 2. the second checker · 3. O. Birch (the front office)" in text


def test_a_sign_that_the_letters_lack_is_printed_by_its_name(district: District) -> None:
    student = replace(district.students["s-104"], alias="Lark 🐦", lights=("{nb} **two** -- __as typed__ ~~x~~ → on",))
    printed = made([card_of(district, student)])
    text = words(printed.pdf)
    assert "Lark [bird]" in text
    assert "{nb} **two** -- __as typed__ ~~x~~ [rightwards arrow] on" in text
    assert printed.unshown == ("bird", "rightwards arrow")


def test_a_card_that_says_too_much_is_refused_by_name_and_a_long_word_is_cut(district: District) -> None:
    student = district.students["s-104"]
    long = replace(student, lights=("x" * 300,))
    assert "x" * 300 in words(made([card_of(district, long)]).pdf).replace(" ", "")
    with pytest.raises(DoesNotFitError, match="Lark"):
        made([card_of(district, replace(student, lights=("green " * 20,) * 60))])


def test_little_to_say_is_said_in_larger_letters(district: District) -> None:
    student = district.students["s-108"]
    card = card_of(district, student)
    little = replace(card, sections=card.sections[1:3])
    largest = [max(_sizes(made([one]).pdf)) for one in (card, little)]
    assert largest[0] < largest[1]


def _sizes(pdf: bytes) -> list[float]:
    found: list[float] = []
    read(pdf).pages[0].extract_text(visitor_text=lambda _t, _cm, _tm, _font, size: found.append(size))
    return found
