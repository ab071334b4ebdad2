"""Spanish and French that an adult in a hurry reads at once.

Reading ease from 0 (a treatise) to 100 (a comic), 70 to 80 being what a sixth grade reads. Both formulas from memory;
syllables by groups of vowels, which counts hiatus as one.
"""

import re
from collections.abc import Callable

import pytest
from languages_wide import reworded
from letters_made import CHECKER, COORDINATOR, GUARDIAN
from test_wording_plain import LONGEST_LINE, letters

from service.core.devices import catalogue
from service.languages import gettext, speaking
from service.wording import compose, fill
from service.wording.letters import Letter, Reader

SIXTH_GRADE = 70
MOST_WORDS = 20
"""In one sentence; local choice."""

WORD = re.compile(r"[^\W\d_]+(?:[’'-][^\W\d_]+)*")
VOWELS = re.compile(r"[aeiouyáàâäéèêëíîïóôöúùûüœæ]+")
SILENT = re.compile(r"(?<=[^\Waeiouy])es?$")
"""The end of a French word that is not heard."""


def fernandez_huerta(syllables_a_word: float, words_a_sentence: float) -> float:
    """ "Medidas sencillas de lecturabilidad", Consigna 214 (1959)."""
    return 206.84 - 60 * syllables_a_word - 1.02 * words_a_sentence


def kandel_moles(syllables_a_word: float, words_a_sentence: float) -> float:
    """ "Application de l'indice de Flesch à la langue française", Cahiers d'études de radio-télévision 19 (1958)."""
    return 207 - 73.6 * syllables_a_word - 1.015 * words_a_sentence


FORMULAS: dict[str, Callable[[float, float], float]] = {"es": fernandez_huerta, "fr": kandel_moles}
EVERYBODY = pytest.mark.parametrize("to", [CHECKER, COORDINATOR, GUARDIAN], ids=lambda to: to.role.value)
EVERY_LANGUAGE = pytest.mark.parametrize("language", FORMULAS)


def words_of(letter: Letter, language: str) -> str:
    with speaking(language):
        held = reworded(letter, gettext)
    return fill(compose(held, language).text, None)


def sentences_of(text: str) -> list[list[str]]:
    parts = re.split(r"[.?!:;\n]+", text)
    return [words for part in parts if (words := WORD.findall(part))]


def syllables(word: str, language: str) -> int:
    heard = SILENT.sub("", word.lower()) if language == "fr" else word.lower()
    return max(1, len(VOWELS.findall(heard)))


def ease(text: str, language: str) -> float:
    sentences = sentences_of(text)
    words = [word for sentence in sentences for word in sentence]
    spoken = sum(syllables(word, language) for word in words)
    return FORMULAS[language](spoken / len(words), len(words) / len(sentences))


def too_long(text: str) -> list[str]:
    return [" ".join(words) for words in sentences_of(text) if len(words) > MOST_WORDS]


def instructions(language: str) -> list[str]:
    with speaking(language):
        lines = [line for code in catalogue().values() for line in (*code.remedy, *code.never, *code.cautions)]
        return [gettext(line) for line in lines]


@EVERYBODY
@EVERY_LANGUAGE
def test_all_that_a_person_reads_is_what_a_sixth_grade_reads(to: Reader, language: str) -> None:
    written = [words_of(one, language) for one in letters(to)]
    assert ease("\n".join(written), language) >= SIXTH_GRADE
    assert [sentence for text in written for sentence in too_long(text)] == []
    assert max(len(line) for text in written for line in text.splitlines()) <= LONGEST_LINE


@EVERY_LANGUAGE
def test_what_to_do_about_a_fault_is_what_a_sixth_grade_reads(language: str) -> None:
    told = instructions(language)
    assert ease("\n".join(told), language) >= SIXTH_GRADE
    assert [sentence for text in told for sentence in too_long(text)] == []


@pytest.mark.parametrize(
    ("language", "heavy", "light"),
    [
        (
            "es",
            "Consecuentemente, las consideraciones audiológicas necesitan verificaciones electroacústicas.",
            "La pila no va. Pon otra.",
        ),
        (
            "fr",
            "Conséquemment, les considérations audiologiques nécessitent des vérifications.",
            "La pile est vide. Mettez-en une autre.",
        ),
    ],
)
def test_long_words_and_sentences_are_seen(language: str, heavy: str, light: str) -> None:
    assert ease(heavy, language) < 30
    assert ease(light, language) > 90
    assert too_long("une " * (MOST_WORDS + 1)) != []
