"""Every benchmark still runs: at a size at which its figures mean nothing."""

from collections.abc import Callable, Iterator

import pytest

from tests.bench import bench_idle, bench_planning, bench_replies_in, bench_sending
from tests.bench import figures as figures_of_all
from tests.bench.figures import Figure

SMALL: dict[str, Callable[[], Iterator[Figure]]] = {
    "planning": lambda: bench_planning.figures(schools=1),
    "idle": lambda: bench_idle.figures(schools=1, seconds=1),
    "replies-in": lambda: bench_replies_in.figures(rooms=20, runs=1),
    "sending": lambda: iter([bench_sending.last_sent(messages=40, addresses=10)]),
}


@pytest.mark.parametrize("part", SMALL)
def test_a_benchmark_measures_what_it_names(part: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(figures_of_all, "RUNS", 1)
    figures = list(SMALL[part]())
    assert figures
    assert all(figure.limit > 0 and figure.ours > 0 for figure in figures), [str(f) for f in figures]
