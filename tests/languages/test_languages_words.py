"""The words that stand for faults and sounds in a language are answers that mean them."""

import pytest

from service.core.devices import catalogue
from service.core.district import Device, DeviceKind, Side
from service.core.reading import Asked, AskedStudent, Audience, Outcome
from service.core.replies import default_words, read
from service.core.sounds import SIX
from service.languages import gettext, offered, speaking
from service.wording.names import fault_word

OTHERS = sorted(offered() - {"en"})
MISSED = {"es": "no oye", "fr": "n'entend pas"}
"""From memory."""


def said(words: str, kind: DeviceKind, language: str) -> Outcome | None:
    """What is read of the first of two students of whom `words` are said."""
    students = tuple(
        AskedStudent(number, alias, (Device(kind, Side.LEFT),)) for number, alias in ((1, "Wren"), (2, "Moss"))
    )
    asked = Asked(Audience.CHECKER, students, language)
    return read(f"1 {words}", asked, default_words()).outcomes.get(1)


@pytest.mark.parametrize("language", OTHERS)
def test_the_word_for_a_fault_is_an_answer_that_means_it(language):
    read_as = {}
    for code, fault in catalogue().items():
        kind = DeviceKind.COCHLEAR_IMPLANT if DeviceKind.COCHLEAR_IMPLANT in fault.devices else min(fault.devices)
        with speaking(language):
            outcome = said(fault_word(code), kind, language)
        read_as[code] = [fault.code for fault in outcome.faults] if outcome else []
    assert read_as == {code: [code] for code in catalogue()}


@pytest.mark.parametrize("language", OTHERS)
def test_the_name_of_a_sound_is_read_as_that_sound(language):
    read_as = {}
    for sound in SIX:
        with speaking(language):
            outcome = said(f"{MISSED[language]} {gettext(sound)}", DeviceKind.HEARING_AID, language)
        read_as[sound] = outcome.missed_sounds if outcome else ()
    assert read_as == {sound: (sound,) for sound in SIX}


def test_a_word_that_means_something_else_is_seen():
    outcome = said("voyant", DeviceKind.COCHLEAR_IMPLANT, "fr")
    assert outcome is not None
    assert [fault.code for fault in outcome.faults] != ["CABLE"]
