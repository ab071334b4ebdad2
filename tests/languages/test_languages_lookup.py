"""Which language is spoken, when, and what a catalogue has to hold."""

import re
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po
from languages_texts import texts

from service import languages
from service.core.devices import catalogue as faults_known
from service.languages import accepted, dated, gettext, offered, speaking, spoken

OTHERS = sorted(offered() - {"en"})
PLACEHOLDER = r"%\((\w+)\)s"


@pytest.fixture
def catalan(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A catalogue of two words beside English."""
    made = Catalog(locale="ca")
    made.add("both", "tots dos")
    made.add(("%(num)s check", "%(num)s checks"), ("%(num)s revisió", "%(num)s revisions"))
    with tmp_path.joinpath("ca.po").open("wb") as file:
        write_po(file, made)
    monkeypatch.setattr(languages, "ROOT", tmp_path)
    languages.offered.cache_clear()
    languages.catalogue.cache_clear()
    yield
    languages.offered.cache_clear()
    languages.catalogue.cache_clear()


def test_a_language_is_spoken_until_it_is_spoken_no_more(catalan):
    with speaking("ca-ES"):
        assert (spoken(), gettext("both")) == ("ca", "tots dos")
        with speaking("en"):
            assert gettext("both") == "both"
        assert languages.counted("%(num)s check", "%(num)s checks", 2) == "2 revisions"
    assert (spoken(), gettext("both")) == ("en", "both")


def test_words_that_a_catalogue_does_not_know_stay_as_they_are(catalan):
    with speaking("ca"):
        assert gettext("a district's own fault") == "a district's own fault"
        assert gettext("") == ""


def test_who_reads_a_language_that_is_not_offered_reads_english(catalan):
    with speaking("../en"):
        assert spoken() == "en"
    with speaking("tlh"):
        assert spoken() == "en"


@pytest.mark.parametrize(
    ("header", "language"),
    [
        # RFC 9110, 12.5.4: weights from 0 to 1, 1 where none is given.
        ("ca", "ca"),
        ("ca-ES,ca;q=0.9,en;q=0.8", "ca"),
        ("da, en-gb;q=0.8, en;q=0.7", "en"),
        ("en;q=0.4, ca;q=0.5", "ca"),
        ("ca;q=0", "en"),
        ("ca;q=nonsense", "en"),
        ("", "en"),
        ("*", "en"),
    ],
)
def test_a_browser_is_answered_in_the_language_it_likes_best(catalan, header, language):
    assert accepted(header) == language


def test_dates_stand_in_the_order_of_the_language(catalan):
    assert dated(date(2026, 9, 15), "EEEE d MMMM") == "Tuesday 15 September"
    with speaking("ca"):
        assert dated(date(2026, 9, 15), "EEEE") == "dimarts"


def test_who_speaks_english_alone_does_not_wait_for_babel():
    program = "import sys, service.wiring, service.wording as w; assert 'babel' not in sys.modules, 'loaded'"
    subprocess.run([sys.executable, "-c", program], check=True)


def gaps(held: Catalog, wanted: Catalog) -> list[str]:
    """What is missing, empty, doubtful, or has other placeholders than the English."""
    wrong = []
    for one in wanted:
        if not one.id:
            continue
        said = held.get(one.id)
        words = said.string if said is not None else ""
        forms = words if isinstance(words, tuple | list) else (words,)
        asked = set(re.findall(PLACEHOLDER, one.id[-1] if isinstance(one.id, tuple) else one.id))
        if not all(forms) or said is None or said.fuzzy:
            wrong.append(f"no words for {one.id!r}")
        elif any(set(re.findall(PLACEHOLDER, form)) != asked for form in forms):
            wrong.append(f"other placeholders in {words!r} than in {one.id!r}")
    keys = {one.id for one in wanted}
    return wrong + [f"nobody says {one.id!r}" for one in held if one.id and one.id not in keys]


def test_a_language_that_is_offered_has_every_word_and_no_other():
    for language in OTHERS:
        with Path(languages.__file__).with_name(f"{language}.po").open("rb") as file:
            assert gaps(read_po(file, locale=language), texts()) == [], language


def can_hurt() -> set[str]:
    """Texts that can hurt somebody where they are wrong: what to do about a fault, and what an emergency is told."""
    faults = faults_known().values()
    told = {line for code in faults for line in (*code.remedy, *code.never, *code.cautions)}
    caution = "service/wording/en/caution.txt"
    return told | {str(one.id) for one in texts() if (caution, 0) in one.locations}


@pytest.mark.parametrize("language", OTHERS)
def test_what_can_hurt_is_marked_for_somebody_licensed_to_confirm(language):
    with Path(languages.__file__).with_name(f"{language}.po").open("rb") as file:
        held = read_po(file, locale=language)
    marked = {
        str(one.id) for one in held if "confirmed by a licensed audiologist" in " ".join(one.user_comments)
    }
    assert can_hurt() - marked == set()


def test_a_catalogue_with_a_gap_is_seen():
    wanted, held = Catalog(), Catalog()
    for text in ("here", "gone", "at %(at)s"):
        wanted.add(text)
    held.add("here", "aquí")
    held.add("at %(at)s", "a las %(when)s")
    held.add("old", "viejo")
    assert gaps(held, wanted) == [
        "no words for 'gone'",
        "other placeholders in 'a las %(when)s' than in 'at %(at)s'",
        "nobody says 'old'",
    ]
