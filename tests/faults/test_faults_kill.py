"""Real instances of the service, ended by force in the midst of a morning, lose nothing and tell nothing twice."""

from dataclasses import replace

import pytest

from tests.faults import town
from tests.faults.judging import Ended, wrongs
from tests.faults.killing import killed

POINTS = 10
WHOLE = Ended(*town.ends())
CHECK, ALERT = min(WHOLE.results), min(key for key in WHOLE.told if "/alert/" in key)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def test_a_morning_in_which_instances_are_ended_by_force_ends_as_it_should(kind: str) -> None:
    ended, killer = killed(kind, POINTS, seed=1)
    assert wrongs(ended) == []
    assert killer.taken.total() >= POINTS / 2


@pytest.mark.parametrize(
    ("left", "said"),
    [
        (replace(WHOLE, results={**WHOLE.results, CHECK: None}), f"{CHECK} is None; it should be working"),
        (replace(WHOLE, told=WHOLE.told - {ALERT}), f"{ALERT} was never told"),
        (replace(WHOLE, wrong=["m3 was acknowledged and is nowhere"]), "m3 was acknowledged and is nowhere"),
    ],
)
def test_a_morning_that_lost_something_is_found_out(left: Ended, said: str) -> None:
    assert wrongs(left) == [said]
    assert wrongs(WHOLE) == []
