"""A morning ended by force and started again loses nothing and tells nothing twice; forty points by command."""

from dataclasses import replace

import pytest

from tests.simulation.kill import Morning, chosen, simulate, wrongs
from tests.store.conftest import postgresql_template

__all__ = ["postgresql_template"]

POINTS = 10
KINDS = {
    f"{when} {what}" for when in ("before", "after") for what in ("commit", "claim", "send", "inbox write")
}
WHOLE = Morning({"ck-1": "unanswered"}, ["ch-1/2/C/alert/1"], [], 0)


def test_on_sqlite_a_morning_ended_anywhere_goes_on_as_if_nothing_had_happened() -> None:
    taken, _, found = simulate("sqlite", POINTS)
    assert found == []
    assert set(taken) == KINDS


@pytest.mark.postgres
@pytest.mark.usefixtures("postgresql_template")
def test_on_postgresql_a_morning_ended_anywhere_goes_on_as_if_nothing_had_happened() -> None:
    taken, _, found = simulate("postgres", POINTS, seed=2)
    assert found == []
    assert set(taken) == KINDS


def test_each_kind_of_boundary_is_drawn_and_each_number_once() -> None:
    seen = ["before commit", "after commit"] * 200 + ["before send", "after send"] * 3
    drawn = chosen(seen, 10, seed=1)
    assert len(set(drawn)) == 10
    assert {seen[n - 1] for n in drawn} == set(seen)


@pytest.mark.parametrize(
    ("left", "said"),
    [
        (replace(WHOLE, results={"ck-1": None}), "checks stand otherwise than in the morning left alone"),
        (replace(WHOLE, told=[]), "ch-1/2/C/alert/1 was not told"),
        (replace(WHOLE, told=[*WHOLE.told, "ch-1/3/A/alert/1"]), "ch-1/3/A/alert/1 was told for nothing"),
        (replace(WHOLE, wrong=["m3 was acknowledged and is None"]), "m3 was acknowledged and is None"),
    ],
)
def test_a_morning_that_lost_or_made_up_something_is_found_out(left: Morning, said: str) -> None:
    assert wrongs(left, WHOLE) == [said]
    assert wrongs(WHOLE, WHOLE) == []
