"""Every benchmark still runs: at a size at which its figures mean nothing."""

from collections.abc import Callable, Iterator

import pytest

from tests.bench import (
    bench_archive,
    bench_idle,
    bench_instances,
    bench_lateness,
    bench_planning,
    bench_presses,
    bench_replies_in,
    bench_scheduler,
    bench_sending,
    bench_state,
)
from tests.bench import figures as figures_of_all
from tests.bench.figures import Figure
from tests.store.conftest import postgresql_template

__all__ = ["postgresql_template"]

SERVER = pytest.mark.postgres
ON_SERVER = ("instances", "archive on the server", "state")
SMALL: dict[str, Callable[[], Iterator[Figure]]] = {
    "planning": lambda: bench_planning.figures(schools=1),
    "idle": lambda: bench_idle.figures(schools=1, seconds=1),
    "lateness": lambda: bench_lateness.figures(schools=1, rooms=5, minutes=0.05),
    "scheduler": lambda: bench_scheduler.figures(count=10),
    "instances": lambda: bench_instances.figures(schools=1),
    "archive": lambda: bench_archive.figures((0.002, 0.004), schools=1),
    "archive on the server": lambda: bench_archive.figures((0.002, 0.004), schools=1, postgres=True),
    "state": lambda: bench_state.figures(students=250, instances=2),
    "replies-in": lambda: bench_replies_in.figures(rooms=20, runs=1),
    "presses": lambda: bench_presses.figures(rooms=20, runs=1),
    "rate": lambda: bench_sending.rate_kept(messages=12, count=5),
    "sending": lambda: iter([bench_sending.last_sent(messages=40, addresses=10)]),
}


@pytest.mark.parametrize(
    "part", [pytest.param(part, marks=[SERVER] if part in ON_SERVER else []) for part in SMALL]
)
def test_a_benchmark_measures_what_it_names(
    part: str, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest
) -> None:
    if part in ON_SERVER:
        request.getfixturevalue("postgresql_template")
    monkeypatch.setattr(figures_of_all, "RUNS", 1)
    figures = list(SMALL[part]())
    assert figures
    assert all(figure.limit > 0 and figure.ours > 0 for figure in figures), [str(f) for f in figures]
