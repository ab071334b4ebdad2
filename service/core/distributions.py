"""Quantiles of the few distributions that intervals and stocks need, to about ten digits.

Written out rather than taken from a statistics library, whose import alone would cost a plain command more
time than all of its own work; the tests hold every function against such a library and against printed tables.
"""

from collections.abc import Callable, Iterator
from math import exp, inf, lgamma, log
from statistics import NormalDist

_TINY = 1e-300
_CLOSE = 1e-15


def normal_quantile(probability: float) -> float:
    """The standard normal value below which `probability` lies, 0 < probability < 1."""
    return NormalDist().inv_cdf(probability)


def gamma_below(shape: float, x: float) -> float:
    """The regularised lower incomplete gamma function P(shape, x): the probability that a gamma variable of
    that shape and scale 1 is at most `x`. Series and continued fraction of NIST DLMF 8.11.4 and 8.9.2.
    """
    if x <= 0:
        return 0.0
    scale = exp(shape * log(x) - x - lgamma(shape))
    if x < shape + 1:
        return min(1.0, scale * _gamma_series(shape, x))
    return max(0.0, 1.0 - scale / _fraction(x + 1 - shape, _gamma_terms(shape, x)))


def _gamma_series(shape: float, x: float) -> float:
    term = total = 1 / shape
    n = 0
    while term > total * _CLOSE:
        n += 1
        term *= x / (shape + n)
        total += term
    return total


def _gamma_terms(shape: float, x: float) -> Iterator[tuple[float, float]]:
    n = 0
    while True:
        n += 1
        yield n * (shape - n), x + 1 - shape + 2 * n


def beta_below(a: float, b: float, x: float) -> float:
    """The regularised incomplete beta function I_x(a, b), by the continued fraction of NIST DLMF 8.17.22."""
    if x <= 0 or x >= 1:
        return float(x >= 1)
    if x > (a + 1) / (a + b + 2):
        return 1.0 - beta_below(b, a, 1 - x)
    scale = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log(1 - x)) / a
    return scale / _fraction(1.0, _beta_terms(a, b, x))


def _beta_terms(a: float, b: float, x: float) -> Iterator[tuple[float, float]]:
    n = 0
    while True:
        yield -(a + n) * (a + b + n) * x / ((a + 2 * n) * (a + 2 * n + 1)), 1.0
        n += 1
        yield n * (b - n) * x / ((a + 2 * n - 1) * (a + 2 * n)), 1.0


def _fraction(first: float, terms: Iterator[tuple[float, float]]) -> float:
    """A continued fraction b0 + a1/(b1 + a2/(b2 + …)) by Lentz's method with Thompson and Barnett's change."""
    value = upper = first or _TINY
    lower = 0.0
    for a, b in terms:
        lower = 1 / ((b + a * lower) or _TINY)
        upper = (b + a / upper) or _TINY
        step = upper * lower
        value *= step
        if abs(step - 1) < _CLOSE:
            break
    return value


def gamma_quantile(probability: float, shape: float) -> float:
    """The value that a gamma variable of that shape and scale 1 exceeds with probability 1 - `probability`.

    Half a chi-square quantile with twice as many degrees of freedom as `shape`.
    """
    return _solve(lambda x: gamma_below(shape, x), probability)


def student_quantile(probability: float, degrees: float) -> float:
    """The quantile of Student's t with that many degrees of freedom, 0 < probability < 1."""
    if probability < 0.5:
        return -student_quantile(1 - probability, degrees)

    def below(t: float) -> float:
        return 1 - beta_below(degrees / 2, 0.5, degrees / (degrees + t * t)) / 2

    return _solve(below, probability) if probability > 0.5 else 0.0


def _solve(below: Callable[[float], float], probability: float) -> float:
    """Where an increasing function over the positive numbers reaches `probability`, by halving."""
    low, high = 0.0, 1.0
    while below(high) < probability:
        low, high = high, high * 2
    while high - low > _CLOSE * high:
        middle = (low + high) / 2
        if middle in (low, high):
            break
        low, high = (middle, high) if below(middle) < probability else (low, middle)
    return (low + high) / 2


def poisson_quantile(probability: float, mean: float) -> int:
    """The least whole number that a Poisson count with this mean does not exceed with `probability`."""
    return _least(probability, lambda k: k * log(mean) - mean - lgamma(k + 1)) if mean > 0 else 0


def mixed_poisson_quantile(probability: float, shape: float, mean: float) -> int:
    """The same for a count whose Poisson mean is itself gamma distributed with that shape, `mean` on average:
    the negative binomial. With a shape without bounds it is the Poisson quantile.
    """
    if mean <= 0:
        return 0
    if shape == inf:
        return poisson_quantile(probability, mean)
    stay, go = log(shape / (shape + mean)), log(mean / (shape + mean))
    return _least(
        probability,
        lambda k: lgamma(shape + k) - lgamma(shape) - lgamma(k + 1) + shape * stay + k * go,
    )


def _least(probability: float, log_chance: Callable[[int], float]) -> int:
    if not 0 < probability < 1:
        raise ValueError(f"{probability} is no probability between 0 and 1")
    k, so_far = 0, exp(log_chance(0))
    while so_far < probability:
        k += 1
        chance = exp(log_chance(k))
        if so_far > 0.5 and chance < _CLOSE / 100:
            break
        so_far += chance
    return k
