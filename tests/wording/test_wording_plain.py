"""English that an adult in a hurry reads at once: short sentences, common words, short lines.

Grade by Kincaid, Fishburne, Rogers and Chissom, "Derivation of New Readability Formulas", Research Branch Report 8-75
(1975), formula from memory; syllables by groups of vowels, a silent final "e" left out.
"""

import re

import pytest
from letters_made import CHECKER, COORDINATOR, GUARDIAN, NEXT, OPEN, every_letter, faulty, working

from service.core.district import Role
from service.wording import compose, fill
from service.wording.letters import About, Ahead, Answer, Ask, Letter, Note, Question, Reader, Said

ITEMS = (working(1, "Wren"), faulty(2, "Moss", "BAT"), faulty(3, "Fern", "CABLE"))
LONGEST_LINE = 300


def letters(to: Reader) -> list[Letter]:
    notes = [Answer(to, ITEMS[:1], ITEMS[1:], (Note(said, "08:30", Role.COORDINATOR),), next=NEXT) for said in Said]
    asked = [Question(to, (Ask(about, ITEMS[1:2], Role.SECOND, "08:10", NEXT, OPEN),)) for about in About]
    who = Answer(to, ahead=(Ahead(ITEMS, Role.SECOND, NEXT), Ahead()))
    return [*every_letter(to, ITEMS), *notes, *asked, who]


def words_of(letter: Letter) -> str:
    return fill(compose(letter).text, None)


def grade(text: str) -> float:
    """School years that a text asks for."""
    sentences = [s for s in re.split(r"[.?!:;\n]+", text) if re.search(r"[A-Za-z]", s)]
    words = re.findall(r"[A-Za-z']+", text)
    syllables = sum(max(1, len(re.findall(r"[aeiouy]+", re.sub(r"(?<!l)e$", "", w.lower())))) for w in words)
    return 0.39 * len(words) / len(sentences) + 11.8 * syllables / len(words) - 15.59


@pytest.mark.parametrize("to", [CHECKER, COORDINATOR, GUARDIAN], ids=lambda to: to.role.value)
def test_all_that_a_person_reads_is_sixth_grade_english(to: Reader) -> None:
    assert grade("\n".join(map(words_of, letters(to)))) <= 6


@pytest.mark.parametrize("to", [CHECKER, COORDINATOR, GUARDIAN], ids=lambda to: to.role.value)
def test_no_single_message_asks_for_more_than_eight_years(to: Reader) -> None:
    hard = {words_of(one): round(grade(words_of(one)), 1) for one in letters(to) if grade(words_of(one)) > 8}
    assert not hard


@pytest.mark.parametrize("to", [CHECKER, COORDINATOR, GUARDIAN], ids=lambda to: to.role.value)
def test_every_line_of_an_answer_is_short(to: Reader) -> None:
    lines = [line for one in letters(to) for line in words_of(one).splitlines()]
    assert max(map(len, lines)) <= LONGEST_LINE


def test_long_words_and_sentences_are_seen() -> None:
    assert grade("Notwithstanding audiological considerations, amplification necessitates verification.") > 12
    assert grade("The cell is flat. Put a new one in.") < 3
