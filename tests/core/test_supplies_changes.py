"""What was put in, by what was said: how many pieces, and whether the cell before had run down."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

import pytest

from service.core.checks import Statement
from service.core.district import Side
from service.core.reading import Fault, Result
from service.core.supplies.changes import Put, Said, put_in
from service.core.supplies.demand import worn
from service.core.supplies.told import Cell, told

EIGHT = datetime(2026, 10, 5, 13, tzinfo=UTC)
MONDAY = date(2026, 10, 5)
LEFT, RIGHT = Fault("BAT", Side.LEFT), Fault("BAT", Side.RIGHT)


def said(result: Result, *faults: Fault, words: str = "", day: int = 0, check: str = "ck-1") -> Said:
    at = EIGHT + timedelta(days=day)
    return Said(check, "s-1", MONDAY + timedelta(days=day), Statement(at, "p", result, faults), words)


def sides(puts: Sequence[Put]) -> list[Side | None]:
    return [put.side for put in puts]


def test_a_battery_changed_on_the_spot_is_one_piece_and_both_sides_are_two() -> None:
    assert sides(put_in([said(Result.FIXED, LEFT)], "BAT")) == [Side.LEFT]
    assert sides(put_in([said(Result.FIXED, LEFT, RIGHT)], "BAT")) == [Side.LEFT, Side.RIGHT]
    assert put_in([said(Result.FIXED, Fault("CABLE", Side.LEFT))], "BAT") == ()


def test_reported_and_then_fixed_is_one_piece_for_each_side_reported() -> None:
    told_of = [said(Result.FAULT, LEFT, RIGHT), said(Result.FIXED)]
    assert sides(put_in(told_of, "BAT")) == [Side.LEFT, Side.RIGHT]
    assert sides(put_in([said(Result.FAULT, LEFT), said(Result.FIXED, LEFT)], "BAT")) == [Side.LEFT]


def test_reported_and_working_the_same_day_was_put_right_at_school_and_on_another_day_perhaps_at_home() -> None:
    assert sides(put_in([said(Result.FAULT, LEFT), said(Result.WORKING)], "BAT")) == [Side.LEFT]
    assert put_in([said(Result.FAULT, LEFT), said(Result.WORKING, day=1)], "BAT") == ()
    assert put_in([said(Result.WORKING)], "BAT") == ()


def test_one_check_says_nothing_of_another() -> None:
    assert put_in([said(Result.FAULT, LEFT), said(Result.WORKING, check="ck-2")], "BAT") == ()


@pytest.mark.parametrize(
    ("reported", "remedy", "cell"),
    [
        (None, "1L battery fixed", Cell.UNSAID),
        (None, "1 new batteries today", Cell.UNSAID),
        (None, "1L dead battery, changed it", Cell.FLAT),
        ("1 bat", "1 fixed", Cell.FLAT),
        ("", "", Cell.FLAT),  # pressed on the page: "battery flat" and its kin
        ("1 low battery", "changed", Cell.FLAT),
        (None, "1 changed the battery before it died", Cell.EARLY),
        (None, "1 changed battery early", Cell.EARLY),
        (None, "1L new battery just in case", Cell.EARLY),
        ("1 battery?", "it wasn't dead but changed anyway", Cell.EARLY),
        ("1 battery wrong way round", "turned it", Cell.THE_SAME),
        (None, "1 charged it", Cell.THE_SAME),
        (None, "1 battery fell out, put in a new one", Cell.UNSAID),
        ("1 no battery in", "put one in", Cell.UNSAID),
        (None, "1 pila gastada, la cambié", Cell.FLAT),
        (None, "1 cambié la pila antes de que se acabara", Cell.EARLY),
        (None, "1 pile à plat, changée", Cell.FLAT),
        (None, "1 pile changée par précaution", Cell.EARLY),
        (None, "1 pile à l'envers, remise", Cell.THE_SAME),
    ],
)
def test_what_the_words_tell_of_the_cell_before(reported: str | None, remedy: str, cell: Cell) -> None:
    """Common ways to say it; no source."""
    assert told(reported, remedy) is cell


def test_a_cell_turned_round_is_told_as_such() -> None:
    report, remedy = said(Result.FAULT, LEFT, words="1 bat wrong way round"), said(Result.FIXED, words="1 turned")
    (put,) = put_in([report, remedy], "BAT")
    assert put.before is Cell.THE_SAME


def test_days_worn_are_the_share_of_school_days_on_which_somebody_looked() -> None:
    """Two devices over 20 school days: looked at on all, on half, on each of four expected Mondays, on none."""
    assert worn(2, 20, 20, 20) == worn(2, 20, 4, 4) == 40
    assert worn(2, 20, 10, 20) == 20
    assert worn(2, 20, 0, 20) == worn(2, 20, 0, 0) == 0
