"""The formulas of the measures against tables and examples printed elsewhere, and against SciPy.

Sources are named at each check. "Recomputed" means that the printed value was also computed with a statistics
library before it was written here; "from memory" that the printed page was not at hand.
"""

from itertools import pairwise

import pytest
from scipy import stats

from service.core.distributions import (
    beta_below,
    gamma_below,
    gamma_quantile,
    mixed_poisson_quantile,
    normal_quantile,
    poisson_quantile,
    student_quantile,
)
from service.core.measures.proportions import Share, by_child, design_effect, wilson
from service.core.measures.rates import rate
from service.core.measures.survival import Spell, curve, ended_by, quantile


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0000, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_limits_are_those_of_newcombes_table(count: int, of: int, low: float, high: float) -> None:
    """Newcombe 1998, Stat Med 17:857-872, Table I, method 3 (recomputed)."""
    limits = wilson(count, of)
    assert (limits.low, limits.high) == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))


def test_wilson_limits_of_none_and_of_all_have_the_closed_forms() -> None:
    """0 of n: up to z²/(n+z²); n of n: from n/(n+z²). Follows from the formula; 5 of 5 from 0.5655 (computed)."""
    assert wilson(0, 5).high == pytest.approx(0.4345, abs=5e-5)
    assert wilson(5, 5).low == pytest.approx(0.5655, abs=5e-5)
    assert (wilson(0, 5).low, wilson(5, 5).high) == (0.0, 1.0)


@pytest.mark.parametrize(("count", "of"), [(0, 1), (1, 2), (27, 44), (33, 120), (179, 180), (10, 100)])
def test_wilson_limits_are_scipys(count: int, of: int) -> None:
    theirs = stats.binomtest(count, of).proportion_ci(0.9, method="wilson")
    ours = wilson(count, of, 0.9)
    assert (ours.low, ours.high) == (pytest.approx(theirs.low), pytest.approx(theirs.high))


LITTERS = {
    "control": "13/13 12/12 9/9 9/9 8/8 8/8 12/13 11/12 9/10 9/10 8/9 11/13 4/5 5/7 7/10 7/10",
    "treated": "12/12 11/11 10/10 9/9 10/11 9/10 9/10 8/9 8/9 4/5 7/9 4/7 5/10 3/6 3/10 0/7",
}
"""Pups that lived for 21 days, of those alive after 4, for each litter: Weil 1970, Food Cosmet Toxicol 8:177-182,
as printed by Williams 1975, Biometrics 31:949-952. Pups of a litter are alike as the days of one child are.
"""


def litters(name: str) -> list[Share]:
    return [Share(*map(int, litter.split("/"))) for litter in LITTERS[name].split()]


@pytest.mark.parametrize(("name", "effect"), [("control", 1.2324953943), ("treated", 3.9528606260)])
def test_the_design_effect_of_litters_is_that_of_cluster_robust_variances(name: str, effect: float) -> None:
    """Computed with statsmodels 0.15.0: OLS on a constant, cov_type "cluster" without its correction, × 16/15."""
    assert design_effect(litters(name)) == pytest.approx(effect)


def test_limits_by_litter_are_wilsons_on_the_effective_number_with_students_t() -> None:
    held = litters("treated")
    effective = 145 / 3.9528606260
    t = stats.t.ppf(0.975, 15)
    p = 112 / 145
    middle, half = p + t**2 / 2 / effective, t * (p * (1 - p) / effective + (t / 2 / effective) ** 2) ** 0.5
    whole = 1 + t**2 / effective
    ours = by_child(held)
    assert ours.value == pytest.approx(p)
    assert (ours.low, ours.high) == (
        pytest.approx((middle - half) / whole),
        pytest.approx((middle + half) / whole),
    )


@pytest.mark.parametrize(
    ("level", "count", "low", "high"),
    [
        (0.95, 0, 0, 3.6889), (0.95, 1, 0.0253, 5.5716), (0.95, 10, 4.7954, 18.3904), (0.95, 100, 81.3640, 121.6268),
        (0.90, 0, 0, 2.9957), (0.90, 1, 0.0513, 4.7439), (0.90, 10, 5.4254, 16.9622),
    ],
)  # fmt: skip
def test_limits_of_a_count_are_garwoods(level: float, count: int, low: float, high: float) -> None:
    """Garwood 1936, Biometrika 28:437-442 (recomputed as chi-square quantiles)."""
    limits = rate(count, 1, per=1, level=level)
    assert (limits.low, limits.high) == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))


def test_ten_faults_in_400_device_days_are_two_and_a_half_in_a_hundred() -> None:
    """0.0250 (0.0120 to 0.0460) a device-day, computed from Garwood's limits."""
    ours = rate(10, 400)
    assert (ours.value, ours.low, ours.high) == (
        pytest.approx(2.5), pytest.approx(1.1989, abs=5e-4), pytest.approx(4.5976, abs=5e-4),
    )  # fmt: skip


TREATED = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"
CONTROL = "1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23"
"""Weeks in remission, + where it still lasted: Freireich et al. 1963, Blood 21:699-716."""


def weeks(text: str) -> list[Spell]:
    return [Spell(float(w.rstrip("+")), not w.endswith("+")) for w in text.split()]


def test_the_curve_of_remissions_is_the_printed_one() -> None:
    """Klein and Moeschberger 2003, Survival Analysis, Table 4.1B (as quoted by others; recomputed)."""
    points = curve(weeks(TREATED))
    assert [(p.time, p.at_risk, p.ended) for p in points] == [
        (6, 21, 3), (7, 17, 1), (10, 15, 1), (13, 12, 1), (16, 11, 1), (22, 7, 1), (23, 6, 1),
    ]  # fmt: skip
    assert [round(p.going, 4) for p in points] == [0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482]
    assert [round(p.error, 3) for p in points] == [0.076, 0.087, 0.096, 0.107, 0.114, 0.128, 0.135]
    limits = {p.time: (round(p.low, 4), round(p.high, 4)) for p in points}
    assert limits[6] == (0.6197, 0.9516)
    assert limits[10] == (0.5032, 0.8894)
    assert limits[23] == (0.1881, 0.6801)


def test_a_curve_without_cut_off_times_falls_by_its_steps() -> None:
    """The control group of the same trial: S is the share not yet ended (recomputed)."""
    assert [(p.time, round(p.going, 4)) for p in curve(weeks(CONTROL))] == [
        (1, 0.9048), (2, 0.8095), (3, 0.7619), (4, 0.6667), (5, 0.5714), (8, 0.3810),
        (11, 0.2857), (12, 0.1905), (15, 0.1429), (17, 0.0952), (22, 0.0476), (23, 0.0),
    ]  # fmt: skip


def test_medians_of_remissions_and_their_limits() -> None:
    """Medians 23 and 8 as printed by Klein and Moeschberger; limits computed with statsmodels 0.15.0,
    SurvfuncRight.quantile_ci, method "cloglog", which has no upper limit for the first.
    """
    treated, control = quantile(curve(weeks(TREATED))), quantile(curve(weeks(CONTROL)))
    assert (treated.value, treated.low, treated.high) == (23, 13, None)
    assert (control.value, control.low, control.high) == (8, 4, 11)
    upper = quantile(curve(weeks(CONTROL)), 0.75)
    assert (upper.value, upper.low, upper.high) == (12, 8, 22)


def test_the_share_ended_by_a_time_is_what_scipys_curve_has_lost() -> None:
    held = weeks(TREATED)
    theirs = stats.ecdf(
        stats.CensoredData(
            uncensored=[s.length for s in held if s.ended], right=[s.length for s in held if not s.ended]
        )
    )
    points = curve(held)
    for time in (3.0, 6.0, 9.5, 23.0, 30.0):
        assert ended_by(points, time).value == pytest.approx(float(theirs.cdf.evaluate(time)))
    limits = theirs.sf.confidence_interval(0.95, method="log-log")
    at = [i for i, q in enumerate(theirs.sf.quantiles) if q in {p.time for p in points}]
    assert [p.low for p in points] == pytest.approx([float(limits.low.probabilities[i]) for i in at])
    assert [p.high for p in points] == pytest.approx([float(limits.high.probabilities[i]) for i in at])


def test_our_quantiles_are_scipys() -> None:
    for probability in (0.005, 0.025, 0.3, 0.5, 0.9, 0.975, 0.9995):
        assert normal_quantile(probability) == pytest.approx(stats.norm.ppf(probability))
        for degrees in (1, 2.5, 9, 15, 400):
            ours = student_quantile(probability, degrees)
            assert ours == pytest.approx(stats.t.ppf(probability, degrees), rel=1e-9, abs=1e-9)
        for shape in (0.5, 1, 7, 60, 3000):
            assert gamma_quantile(probability, shape) == pytest.approx(
                stats.gamma.ppf(probability, shape), rel=1e-9
            )


def test_our_incomplete_functions_are_scipys() -> None:
    for x in (1e-6, 0.3, 1.0, 4.0, 50.0, 900.0):
        for shape in (0.5, 1.0, 3.0, 40.0, 1000.0):
            assert gamma_below(shape, x) == pytest.approx(stats.gamma.cdf(x, shape), abs=1e-12)
    for x in (0.0, 0.001, 0.4, 0.5, 0.93, 1.0):
        for a, b in ((0.5, 0.5), (1, 3), (12, 0.5), (80, 120)):
            assert beta_below(a, b, x) == pytest.approx(stats.beta.cdf(x, a, b), abs=1e-12)


def test_our_count_quantiles_are_scipys() -> None:
    for probability in (0.025, 0.5, 0.8, 0.95, 0.999):
        for mean in (0.0, 0.25, 2.7, 6.0, 50.0, 2000.0):
            assert poisson_quantile(probability, mean) == stats.poisson.ppf(probability, mean)
            for shape in (0.5, 3.5, 800.5) if mean else ():
                theirs = stats.nbinom.ppf(probability, shape, shape / (shape + mean))
                assert mixed_poisson_quantile(probability, shape, mean) == theirs


def test_a_count_whose_mean_is_not_known_well_needs_more_than_one_whose_mean_is() -> None:
    """The negative binomial tends to the Poisson as its shape grows (any handbook of distributions)."""
    needed = [mixed_poisson_quantile(0.95, shape, 8) for shape in (1, 4, 20, 500, float("inf"))]
    assert all(a >= b for a, b in pairwise(needed))
    assert needed[-1] == poisson_quantile(0.95, 8) == 13
