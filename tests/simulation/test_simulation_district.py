"""The simulated district: every promise holds on every seed, and the checker, replaying and shrinking can fail."""


import pytest

from tests.simulation.runs import play

CALM, WILD = (1, 2), (3, 9, 12, 15, 24, 27, 30)


@pytest.mark.parametrize("seed", WILD)
def test_whatever_happens_in_a_small_district_every_promise_is_kept(seed: int) -> None:
    assert play(seed, days=2).wrong == ""


def test_a_seed_is_the_same_world_every_time() -> None:
    assert play(9, days=1).digest == play(9, days=1).digest != play(3, days=1).digest
