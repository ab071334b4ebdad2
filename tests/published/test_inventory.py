"""Stocks against examples and tables printed elsewhere; "recomputed" as in test_statistics.py."""

import pytest
from scipy import stats

from service.core.distributions import normal_quantile, poisson_quantile
from service.core.supplies.cells import SIZES, life_days, life_hours
from service.core.supplies.demand import Demand, by_record, forecast

LEVELS = (0.80, 0.90, 0.95, 0.98, 0.99, 0.999)


@pytest.mark.parametrize(
    ("mean", "stocks"),
    [
        (0.25, (1, 1, 1, 2, 2, 3)), (0.5, (1, 1, 2, 2, 3, 4)), (1, (2, 2, 3, 3, 4, 5)), (2.7, (4, 5, 6, 7, 7, 9)),
        (5, (7, 8, 9, 10, 11, 13)), (10, (13, 14, 15, 17, 18, 21)), (20, (24, 26, 28, 30, 31, 35)),
    ],
)  # fmt: skip
def test_the_least_stock_for_a_level_is_the_poisson_tables(mean: float, stocks: tuple[int, ...]) -> None:
    """Computed with SciPy from the Poisson distribution, as any table of it shows."""
    assert tuple(Demand(mean).at_most(1, level) for level in LEVELS) == stocks


def test_the_newsvendor_with_poisson_demand_stocks_eight() -> None:
    """Snyder and Shen, Fundamentals of Supply Chain Theory, Example 4.7: mean 6, holding 1, shortage 4, ratio 0.8:
    8 at a cost of 3.570106945770941 (as run by the open library stockpyl 1.0.2; recomputed).
    """
    stock = Demand(6).at_most(1, 4 / (1 + 4))
    assert stock == 8
    assert cost(stock, 6, 1, 4) == pytest.approx(3.570106945770941)
    assert cost(5, 6, 1, 4) == pytest.approx(6.590296024616343)
    assert min(range(20), key=lambda s: cost(s, 6, 1, 4)) == stock
    assert Demand(50).at_most(1, 0.70 / 0.88) == 56


def cost(stock: int, mean: float, holding: float, shortage: float) -> float:
    """What is left over costs holding, what is missing costs shortage."""
    odds = [(d, float(stats.poisson.pmf(d, mean))) for d in range(200)]
    over = sum(p * max(0, stock - d) for d, p in odds)
    under = sum(p * max(0, d - stock) for d, p in odds)
    return holding * over + shortage * under


def test_newsvendors_with_normal_demand() -> None:
    """Snyder and Shen, Example 4.3: mean 50, deviation 8, ratio 0.70/0.88: 56.60395592743389 (recomputed). Nahmias'
    newsstand (from memory): mean 11.73, deviation 4.74, ratio 0.5/0.65: 15.22; the book rounds z and has 15.24.
    """
    assert 50 + 8 * normal_quantile(0.70 / 0.88) == pytest.approx(56.60395592743389)
    assert 11.73 + 4.74 * normal_quantile(0.50 / 0.65) == pytest.approx(15.22, abs=0.005)


@pytest.mark.parametrize(("children", "weeks", "for_95", "for_99"), [(5, 2, 2, 3), (10, 2, 3, 4), (20, 4, 8, 10)])
def test_spares_for_implants_while_a_part_is_on_its_way(children: int, weeks: int, for_95: int, for_99: int) -> None:
    """2.7 external repairs a child and year: Otol Neurotol 2010, 31(6):926-931; the stocks computed from it."""
    yearly = Demand(2.7 / 52)
    assert yearly.at_most(children * weeks, 0.95) == for_95
    assert yearly.at_most(children * weeks, 0.99) == for_99


@pytest.mark.parametrize(
    ("capacity", "drain", "hours"),
    [
        (150, 1.5, 100),  # an audiology question-and-answer page: life is rating over current
        (126, 1.0, 126),  # a trade review of 2016, functional capacity of a 312
        (126, 1.2, 105.0), (126, 1.3, 96.9), (126, 2.7, 46.7),  # drains measured in 2016, lives computed
        (650, 1.5, 433.3), (100, 2.7, 37), (310, 1.2, 258.3),  # typical capacities of a retail list, computed
    ],
)  # fmt: skip
def test_hours_of_a_cell_are_its_rating_over_the_current(capacity: float, drain: float, hours: float) -> None:
    assert life_hours(capacity, drain) == pytest.approx(hours, abs=0.05)


@pytest.mark.parametrize(
    ("size", "drain", "days"),
    [("10", 1.0, 8.3), ("312", 1.2, 12.5), ("13", 1.5, 17.2), ("13", 2.7, 9.6), ("675", 2.7, 20.1), ("675", 10.8, 5)],
)
def test_days_of_twelve_hours_by_size_and_current(size: str, drain: float, days: float) -> None:
    """Computed from typical capacities; the last is an implant's cell that was said to last 60 hours."""
    assert life_days(SIZES[size].capacity, drain) == pytest.approx(days, abs=0.05)


def test_an_open_cell_dries_out_before_a_small_current_empties_it() -> None:
    """650 mAh at 1 mA would be 54 days; three to four weeks are what an open cell reaches (from memory)."""
    assert life_days(650, 1.0) == 28


def test_a_forecast_after_few_data_is_the_negative_binomial() -> None:
    """SciPy's: after 12 changes in 60 device-days, use in the next 40."""
    found = forecast(by_record(12, 60), 40, 0.9)
    theirs = stats.nbinom(12.5, 60 / 100)
    assert (found.low, found.high) == (theirs.ppf(0.05), theirs.ppf(0.95))
    assert found.expected == pytest.approx(theirs.mean())
    assert found.high > poisson_quantile(0.95, found.expected)


def test_cells_are_named_as_the_standard_and_the_trade_name_them() -> None:
    """IEC 60086 codes and tab colours, as retail lists print them."""
    assert {size: (s.code, s.tab) for size, s in SIZES.items()} == {
        "10": ("PR70", "yellow"), "312": ("PR41", "brown"), "13": ("PR48", "orange"), "675": ("PR44", "blue"),
    }  # fmt: skip

