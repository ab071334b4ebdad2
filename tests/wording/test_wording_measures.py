"""Figures in words: always of how many, with limits or why there are none; the page of a report as people get it."""

from datetime import date

import pytest

from service.core.measures.figures import Figure, Measure
from service.core.measures.hiding import TOTAL
from service.core.measures.interval import Estimate
from service.core.measures.proportions import Share, by_child, wilson
from service.core.measures.report import Group
from service.core.measures.steps import Step
from service.core.reading import Result
from service.languages import speaking
from service.wording.measures import WORDS, explained, value
from service.wording.report_page import Report, page


def test_a_share_says_how_many_of_how_many_and_between_which_limits() -> None:
    found = by_child([Share(20, 20), Share(15, 20)])
    assert value(Figure(Measure.DONE, 35, 40, found)).startswith("35 of 40: 88 % (")
    assert value(Figure(Measure.DONE, 15, 20, by_child([Share(15, 20)]))) == "15 of 20: 75 % (no limits: one student)"


def test_a_median_that_was_not_reached_says_so_and_so_does_an_open_upper_limit() -> None:
    open_ended = Figure(Measure.TO_WORKING, 9, 21, Estimate(23, 13, None))
    assert value(open_ended) == "9 of 21 ended; half within 23 min (13 or more)"
    assert value(Figure(Measure.TO_WORKING, 1, 6, Estimate(None, 10, None))) == "1 of 6 ended; fewer than half"


def test_of_none_nothing_is_said() -> None:
    assert value(Figure(Measure.DONE, 0, 0, Estimate(None, None, None))) == "none of none: nothing can be said"


def test_a_rate_has_the_decimal_mark_of_the_language() -> None:
    rate = Figure(Measure.FAULTS, 10, 400, Estimate(2.5, 1.199, 4.598))
    assert value(rate) == "10 in 400 device-days: 2.5 in 100 (1.2 to 4.6)"
    with speaking("fr"):
        assert "2,5 pour 100 (de 1,2 à 4,6)" in value(rate)


@pytest.mark.parametrize("measure", list(Measure))
def test_every_measure_says_of_what_it_is_and_how_to_read_it(measure: Measure) -> None:
    name, of, reading = explained(measure)
    assert name
    assert of
    assert reading.endswith(".")
    assert "imits" in reading


def made(at_least: int = 0) -> Report:
    figures = dict.fromkeys(WORDS, Figure(Measure.DONE, 8, 10, wilson(8, 10)))
    hollow = Group("hollow-road", None, dict.fromkeys(Result), dict.fromkeys(WORDS))
    total = Group(TOTAL, 12, dict.fromkeys(Result, 30), figures)
    steps = [Step("silence", 1, "checker", 20, 15, wilson(15, 20), Estimate(3, 2, 5), 4, 10)]
    names = {"hollow-road": "Hollow <Road>"}
    return Report("Larkfield", date(2026, 8, 24), date(2026, 10, 6), [hollow, total], names, steps, at_least)


def test_the_page_says_what_was_kept_back_and_escapes_what_people_named() -> None:
    shown = page(made(10), "en")
    assert "Numbers below 10 are kept back" in shown
    assert "Hollow &lt;Road&gt;" in shown
    assert "<Road>" not in shown
    assert "kept back" in shown
    assert "do not hand it on" in page(made(), "en")


def test_the_page_marks_a_long_limit_in_words_and_ranks_nobody() -> None:
    shown = page(made(), "en")
    assert "<strong>long</strong>" in shown
    assert "the checker" in shown


def test_the_page_speaks_the_language_asked_for() -> None:
    assert '<html lang="es">' in page(made(), "es")
    assert "Revisiones hechas" in page(made(), "es")
