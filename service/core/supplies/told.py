"""What the words beside an answer tell of a cell that was put in: whether the one before had run down.

Words in all three languages are from memory. Where they do not say, nobody knows.
"""

import re
import unicodedata
from enum import StrEnum


class Cell(StrEnum):
    """What became of the cell that was in: it had run `FLAT`; it was changed `EARLY`; it is `THE_SAME` again, turned
    round or charged, and none was taken from the shelf; or nobody said.
    """

    FLAT = "flat"
    EARLY = "early"
    THE_SAME = "the same"
    UNSAID = "unsaid"


def _any(*words: str) -> re.Pattern[str]:
    return re.compile(rf"\b(?:{'|'.join(words)})\b")


EARLY = _any(
    "before (?:it|they|he|she) (?:die[sd]?|ran out|went|goes|go|runs? out)", "to be safe", "just in case", "early",
    "in advance", "still (?:good|working|ok|going)", "(?:not|wasnt|isnt|werent) (?:yet )?(?:flat|dead|empty)",
    "antes de que", "por si acaso", "por precaucion", "todavia (?:servia|funcionaba)", "no estaba (?:gastada|muerta)",
    "avant qu", "par precaution", "au cas ou", "en avance", "marchait encore", "pas (?:encore )?(?:vide|morte|a plat)",
)  # fmt: skip
"""Said of a cell that had not run down."""

FLAT = _any(
    "flat", "dead", "died", "dying", "low", "empty", "ran out", "run out", "drained", "out of (?:juice|battery)",
    "gastadas?", "muertas?", "agotadas?", "descargadas?", "sin pila", "vacias?", "se acabo", "se murio",
    "vides?", "mortes?", "a plat", "epuisees?", "dechargees?", "usees?",
)  # fmt: skip
"""Said of a cell that had."""

SAME = _any(
    "recharged", "charged", "on charge", "flipped", "turned", "wrong way", "backwards", "upside down", "reinserted",
    "reseated", "fell out", "recargada", "recargue", "cargada", "al reves", "volteada", "di(?:o)? la vuelta",
    "rechargee?", "chargee?", "a lenvers", "retournee?", "remise?",
)  # fmt: skip
"""Said where the cell that was in is in again."""

NEW = _any(
    "new", "fresh", "changed", "replaced", "swapped", "spare", "nuevas?", "cambie", "cambiadas?", "cambio",
    "neuves?", "nouvelles?", "changees?", "change", "remplacees?",
)  # fmt: skip
"""Said where another was put in, whatever else was done."""

MISSING = _any("missing", "gone", "no batter(?:y|ies)", "not in", "falta", "sin pilas?", "manque", "pas de piles?")
"""Said where there was none: then nobody knows how long it had lasted."""


def told(reported: str | None, remedy: str) -> Cell:
    """What became of the cell, by the words of whoever `reported` it (None: the change was all that was said) and of
    whoever put it right. A report in a few words is of a flat cell, which is what the code is for.
    """
    words = _plain(f"{reported or ''} {remedy}")
    if EARLY.search(words):
        return Cell.EARLY
    if SAME.search(words) and not NEW.search(words):
        return Cell.THE_SAME
    if MISSING.search(words):
        return Cell.UNSAID
    return Cell.FLAT if FLAT.search(words) or reported is not None else Cell.UNSAID


def _plain(words: str) -> str:
    """Small letters without accents and marks, one space between words; "wasn't" as "wasnt"."""
    bare = unicodedata.normalize("NFKD", re.sub("['\u2019]", "", words.casefold()))
    kept = "".join(c for c in bare if not unicodedata.combining(c))
    return " ".join(re.findall(r"[a-z0-9]+", kept))
