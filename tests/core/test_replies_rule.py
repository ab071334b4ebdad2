"""The asymmetric rule as a property: whatever could turn good news, put beside any good reply, stops it being plain.

Every labelled reply that is plain good news is tried with every turn in three languages. The turns are from memory.
"""

import pytest

from service.core.reading import Reading, Result
from tests.core.replies_labelled import EVERY, Case, cases, said_by

TURNS = {
    "a negation": (
        "not {}", "{} not", "never {}", "{}, not really", "{} isn't it", "no {}", "no es cierto que {}", "{} no",
        "nunca {}", "pas {}", "{} pas", "jamais {}",
    ),
    "a hedge": (
        "I think {}", "maybe {}", "{} I think", "{} probably", "{} I guess", "hopefully {}", "{} as far as I know",
        "apparently {}", "{} so far", "mostly {}", "should be {}", "{} more or less", "{} or so they say",
        "creo que {}",
        "quizás {}", "{} creo", "{} supongo", "parece que {}", "{} más o menos", "{} por ahora", "je crois que {}",
        "peut-être {}", "{} je pense", "{} apparemment", "{} sans doute", "{} plus ou moins",
    ),
    "a question": ("{}?", "is it {}?", "{} or not?", "{} right?", "¿{}?", "{} o no?", "est-ce que {} ?", "{} ou pas ?"),
    "an exception": (
        "{} except 1", "{} but 1", "{} apart from 1", "{} but not 1", "{}, just not 1", "{} menos 1", "{} excepto 1",
        "{} salvo 1", "{} sauf 1", "{} à part 1", "{} excepté 1",
    ),
    "a but": (
        "{} but", "{} but something is up", "{} however", "{} though one is off", "{} pero 1", "{} pero algo falla",
        "{} mais 1", "{} mais un souci",
    ),
    "a fault": (
        "{} 1 dead", "{} 1 bat", "{}, 1 whistling", "{}. 1 cable broken", "{} 1 red ear", "1 flat {}", "{}, 1 sin pila",
        "{} 1 pita", "{}. 1 cable roto", "{}, 1 pile vide", "{} 1 siffle", "{}. 1 câble cassé",
    ),
    "a later time": (
        "{} later", "{} after lunch", "will check {} soon", "{} tomorrow", "{} once I get there", "{} shortly",
        "{} luego", "{} después del recreo", "{} mañana", "{} más tarde", "{} plus tard", "{} après la récré",
        "{} demain", "{} tout à l'heure",
    ),
}  # fmt: skip
# The turn belongs to something told of who writes, or answers "any trouble?", as anybody would read it.
ANSWERS = {"yes everyone ok", "Yup everyone good", "Nope, all good", "Checked. All ok.", "checked all kids all ok"}
OF_ONESELF = ("Lost my voice", "I could not find my glasses")


def is_plain(reading: Reading, case: Case) -> bool:
    """Whether a reading is good news of the whole round and asks nothing."""
    good = all(outcome.result is Result.WORKING for outcome in reading.outcomes.values())
    return good and len(reading.outcomes) == len(case["students"]) and not reading.ask and reading.command is None


def plain_replies() -> list[Case]:
    """The labelled replies of checkers that are plain good news."""
    every = [case for path in EVERY for case in cases(path) if case["audience"] == "checker"]
    found = [case for case in every if is_plain(said_by(case), case) and "\n" not in case["text"]]
    return [case for case in found if not case["text"].startswith(OF_ONESELF)]


def test_there_are_plain_replies_enough_to_try() -> None:
    assert len(plain_replies()) >= 200


@pytest.mark.parametrize("kind", TURNS)
def test_what_could_turn_good_news_stops_it_being_plain_good_news(kind: str) -> None:
    still = []
    for case in plain_replies():
        for turn in TURNS[kind]:
            if case["text"] in ANSWERS and turn == "no {}":
                continue
            text = turn.format(case["text"])
            if is_plain(said_by(case, text), case):
                still.append(text)
    assert still == []
