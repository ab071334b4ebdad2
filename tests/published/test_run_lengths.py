"""The cumulative sum and its run lengths against printed values.

Sources, quoted beside each check: Brook and Evans 1972, Lucas and Crosier 1982, Vance 1986 and the SAS/QC manual of
1999, all as quoted in the examples of the R package spc (`xcusum.arl`); Montgomery, Introduction to Statistical
Quality Control, chapter 9 (as quoted in public solvers' notes: 465, 10.4, 5.75, 4.01 for k 0.5, h 5, two-sided);
Lucas and Crosier's Table 5 as reprinted in Six Sigma: Advanced Tools, 2006, Table 24.1; the NIST/SEMATECH handbook
6.3.2.3 from memory.
"""

import random
from collections.abc import Iterable, Iterator
from statistics import NormalDist, mean, stdev

import pytest

from service.core.listening.runlength import Move, added, average_run_length, median_run_length


def normal(k: float, h: float, mean: float, states: int = 40) -> Move[int]:
    """The chain of a normal CUSUM, cut into `states` as Brook and Evans cut it."""
    width = 2 * h / (2 * states - 1)
    steps = NormalDist(mean - k, 1)

    def move(state: int) -> Iterator[tuple[float, int | None]]:
        yield steps.cdf((0.5 - state) * width), 0
        for after in range(1, states):
            at = (after - state) * width
            yield steps.cdf(at + width / 2) - steps.cdf(at - width / 2), after
        yield 1 - steps.cdf((states - 0.5 - state) * width), None

    return move


def one_sided(k: float, h: float, mean: float) -> float:
    """The run length for ever finer states: its error falls with the square of the width."""
    coarse, fine = (average_run_length(0, normal(k, h, mean, states)) for states in (25, 50))
    return fine + (fine - coarse) / (((2 * 50 - 1) / (2 * 25 - 1)) ** 2 - 1)


def two_sided(k: float, h: float, mean: float) -> float:
    """Both sides at once: their rates add (Kemp 1961; the SAS/QC manual says the same)."""
    return 1 / (1 / one_sided(k, h, mean) + 1 / one_sided(k, h, -mean))


@pytest.mark.parametrize(("mean", "printed"), [(0, 117.59), (1.5, 3.75)])
def test_brook_and_evans_own_example(mean: float, printed: float) -> None:
    assert average_run_length(0, normal(0.5, 3, mean, 100)) == pytest.approx(printed, abs=0.005)


@pytest.mark.parametrize(
    ("mean", "printed"),
    [(0, 168), (0.25, 74.2), (0.5, 26.6), (0.75, 13.3), (1, 8.38), (1.5, 4.75), (2, 3.34)],
)
def test_lucas_and_crosier_table_1_two_sided_k_half_h_4(mean: float, printed: float) -> None:
    assert two_sided(0.5, 4, mean) == pytest.approx(printed, rel=0.003)


@pytest.mark.parametrize(
    ("mean", "printed", "places"), [(0, 465, 0), (1, 10.4, 1), (1.5, 5.75, 2), (2, 4.01, 2)]
)
def test_montgomery_two_sided_k_half_h_5(mean: float, printed: float, places: int) -> None:
    assert round(two_sided(0.5, 5, mean), places) == printed


def test_one_side_of_it_runs_twice_as_long() -> None:
    assert one_sided(0.5, 5, 0) == pytest.approx(930.9, abs=0.2)


@pytest.mark.parametrize(("mean", "printed"), [(-0.125, 400.28), (0, 124.66), (0.25, 36.71), (1, 10.75)])
def test_vance_one_sided_k_0_h_10(mean: float, printed: float) -> None:
    assert one_sided(0, 10, mean) == pytest.approx(printed, rel=0.0005)


def test_the_manual_of_a_statistics_package_k_quarter_h_8() -> None:
    assert one_sided(0.25, 8, 2.5) == pytest.approx(4.1500836225, abs=1e-4)


def test_simulated_runs_are_as_long_as_the_chain_says() -> None:
    chance = random.Random(1972)

    def run() -> int:
        total, steps = 0.0, 0
        while total < 3:
            total, steps = added(total, chance.gauss(1) - 0.5), steps + 1
        return steps

    runs = [run() for _ in range(4000)]
    assert mean(runs) == pytest.approx(one_sided(0.5, 3, 1), abs=4 * stdev(runs) / 4000**0.5)
    assert sorted(runs)[2000] == median_run_length(0, normal(0.5, 3, 1))


def sums(scores: Iterable[float], start: float = 0.0) -> list[float]:
    found = [start]
    for score in scores:
        found.append(added(found[-1], score))
    return [round(total, 4) for total in found[1:]]


MONTGOMERY = [
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08,
    9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
]  # fmt: skip


def test_montgomerys_example_speaks_at_period_29() -> None:
    up = sums(x - 10 - 0.5 for x in MONTGOMERY)
    down = sums(10 - x - 0.5 for x in MONTGOMERY)
    assert up == [
        0, 0, 0, 1.16, 2.82, 2.5, 0.04, 1, 0, 0, 0, 0.97, 0.98, 0, 0,
        0, 0.12, 0, 0, 0.34, 0.74, 0, 1.79, 2.79, 2.89, 3.47, 3.35, 4.47, 5.28, 5.3,
    ]  # fmt: skip
    assert down[:12] == [0.05, 1.56, 1.77, 0, 0, 0, 1.46, 0, 0.3, 0, 0.47, 0]
    assert next(period for period, total in enumerate(up, start=1) if total > 5) == 29


def test_lucas_and_crosiers_table_5_with_and_without_a_head_start() -> None:
    scores = [z - 0.5 for z in (0.8, 1.9, 1.4, 2.0, 1.1, 0.7, 2.6)]
    assert sums(scores) == [0.3, 1.7, 2.6, 4.1, 4.7, 4.9, 7.0]
    assert sums(scores, 2.5) == [2.8, 4.2, 5.1, 6.6, 7.2, 7.4, 9.5]


HANDBOOK = [
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625, 325.150,
    328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
]  # fmt: skip


def test_the_handbooks_example_speaks_at_group_14() -> None:
    up = sums(x - 325 - 0.3175 for x in HANDBOOK)
    assert up[4] == 0.0325
    assert up[12:] == [3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035]
    assert next(group for group, total in enumerate(up, start=1) if total > 4.1959) == 14
