"""What a text tells people to type is heard, in every language, as what the English text tells them is heard."""

import re
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po
from languages_texts import texts

from service import languages
from service.core.district import Device, DeviceKind, Side
from service.core.reading import Asked, AskedStudent, Audience, Command
from service.core.replies import default_words, read
from service.languages import offered

OTHERS = sorted(offered() - {"en"})
TYPED = re.compile(r'["«]\s?([^"»]+?)\s?["»]|\b([^\W\d_a-zß-ÿ]{2,}(?: [^\W\d_a-zß-ÿ]+)*)\b')
"""In quotes, or in capitals."""

PLACES = {"n": "2 ", "one": "1", "two": "2"}
NO_ANSWER = re.compile(r"closed today|^[Ed M]+$|CSV")
"""A notice, which has a grammar of its own; patterns of dates; the name of a file's form."""

IMPLANT = (Device(DeviceKind.COCHLEAR_IMPLANT, Side.LEFT),)
ALONE = (AskedStudent(1, "Wren", IMPLANT),)
THREE = (
    *ALONE,
    AskedStudent(2, "Moss", IMPLANT),
    AskedStudent(3, "Fern", (Device(DeviceKind.HEARING_AID, Side.LEFT),)),
)


def typed(text: str) -> list[str]:
    """The answers that a text shows, with its placeholders filled."""
    filled = re.sub(r"%\((\w+)\)s", lambda found: PLACES.get(found[1], "it"), text)
    return [quoted or capitals for quoted, capitals in TYPED.findall(filled)]


def heard(words: str, language: str) -> list[object]:
    """What the reader makes of an answer to an alert, to a round of one, and to a round of three; of what is said
    to an alert alone ("mine 20"), only that.
    """
    found: list[object] = []
    for audience, students in (
        (Audience.CONTACT, ALONE),
        (Audience.CHECKER, ALONE),
        (Audience.CHECKER, THREE),
    ):
        reading = read(words, Asked(audience, students, language), default_words())
        results = {n: (o.result, [f.code for f in o.faults]) for n, o in reading.outcomes.items()}
        found.append((results, reading.command, reading.minutes, reading.aside, reading.emergency))
        if reading.command is Command.MINE:
            break
    return found


def taught() -> list[str]:
    """The English texts that show an answer."""
    ids = [one.id for one in texts() if isinstance(one.id, str) and one.id]
    return [id for id in ids if typed(id) and not NO_ANSWER.search(id)]


def held(language: str) -> Catalog:
    with Path(languages.__file__).with_name(f"{language}.po").open("rb") as file:
        return read_po(file, locale=language)


def test_every_answer_that_english_teaches_is_heard_as_something() -> None:
    nothing = heard("qqxz", "en")
    assert [words for text in taught() for words in typed(text) if heard(words, "en") == nothing] == []


@pytest.mark.parametrize("language", OTHERS)
def test_an_answer_that_is_taught_is_heard_as_its_english_is(language: str) -> None:
    catalogue, wrong = held(language), []
    for text in taught():
        message = catalogue.get(text)
        said = str(message.string) if message else ""
        pairs = list(zip(typed(text), typed(said), strict=False))
        if len(typed(said)) != len(typed(text)):
            wrong.append(f"{text!r} teaches {typed(text)}, {said!r} teaches {typed(said)}")
        wrong += [
            f"{theirs!r} is not heard as {ours!r}"
            for ours, theirs in pairs
            if heard(theirs, language) != heard(ours, "en")
        ]
    assert wrong == []


def test_a_word_that_nobody_hears_is_seen() -> None:
    assert heard("perro", "es") != heard("working", "en")
    assert typed('Contestar "%(n)sbien" o DUELE.') == ["2 bien", "DUELE"]
