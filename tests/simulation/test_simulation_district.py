"""The simulated district: every promise holds on every seed, and checker, replay and shrinking do what they are for."""

from functools import partial

import pytest

from tests.simulation.runs import play
from tests.simulation.shared import Shared
from tests.simulation.town import made
from tests.store.conftest import postgresql_template

__all__ = ["postgresql_template"]

WILD = range(3, 42, 3)
QUIET = ((2, 5), (5, 5), (8, 5))
QUIET_ON_POSTGRESQL = (11, 1)
"""Seeds of large quiet districts, and how many days of each are played."""

IN_ALL = 20_000
"""Student-days that these tests play at least."""

ON_POSTGRESQL = (3, 9, 12, 15)
TWO = partial(play, days=1, make=partial(Shared, instances=2))


@pytest.mark.parametrize("seed", WILD)
def test_whatever_happens_in_a_small_district_every_promise_is_kept(seed: int) -> None:
    assert play(seed, days=1).wrong == ""


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "days"), QUIET)
def test_in_a_large_quiet_district_every_promise_is_kept(seed: int, days: int) -> None:
    assert play(seed, days=days).wrong == ""


@pytest.mark.slow
@pytest.mark.postgres
@pytest.mark.usefixtures("postgresql_template")
def test_in_a_large_quiet_district_two_instances_keep_every_promise() -> None:
    seed, days = QUIET_ON_POSTGRESQL
    run = play(seed, days=days, make=partial(Shared, instances=2))
    assert run.wrong == ""
    assert run.calm > run.student_days * 0.9


def test_together_these_are_enough_student_days() -> None:
    days = [(seed, 1) for seed in (*WILD, *ON_POSTGRESQL)] + [*QUIET, QUIET_ON_POSTGRESQL]
    assert sum(len(made(seed).students) * count for seed, count in days) >= IN_ALL


@pytest.mark.postgres
@pytest.mark.usefixtures("postgresql_template")
@pytest.mark.parametrize("seed", ON_POSTGRESQL)
def test_three_instances_that_end_and_stand_still_anywhere_keep_every_promise(seed: int) -> None:
    assert play(seed, days=1, make=Shared).wrong == ""


def test_a_seed_is_the_same_world_every_time() -> None:
    assert play(9, days=1).digest == play(9, days=1).digest != play(3, days=1).digest


@pytest.mark.postgres
@pytest.mark.usefixtures("postgresql_template")
def test_a_seed_is_the_same_world_every_time_though_instances_wait_for_one_another() -> None:
    assert TWO(9).digest == TWO(9).digest
