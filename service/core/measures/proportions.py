"""Shares with limits: each unit counted once (Wilson), or children who come again and again (by child)."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from service.core.distributions import normal_quantile, student_quantile
from service.core.measures.interval import LEVEL, Estimate


@dataclass(frozen=True)
class Share:
    """So many (`count`) of so many (`of`), of one child or of one unit."""

    count: int
    of: int

    def __post_init__(self) -> None:
        if not 0 <= self.count <= self.of:
            raise ValueError(f"{self.count} of {self.of} is no share")


def wilson(count: float, of: float, level: float = LEVEL) -> Estimate:
    """The share `count`/`of` with Wilson's score limits, for units of which each counts once.

    Wilson 1927, J Am Stat Assoc 22:209-212; method 3 of Newcombe 1998, Stat Med 17:857-872. No value of none.
    """
    if of == 0:
        return Estimate(None, None, None)
    return _score_limits(count, of, normal_quantile((1 + level) / 2))


def _score_limits(count: float, of: float, z: float) -> Estimate:
    p = count / of
    middle = 2 * count + z * z
    half = z * sqrt(z * z + 4 * count * (1 - p))
    spread = 2 * (of + z * z)
    low = 0.0 if count == 0 else (middle - half) / spread
    high = 1.0 if count == of else (middle + half) / spread
    return Estimate(p, low, high)


def design_effect(shares: Sequence[Share]) -> float:
    """How many times the variance of the pooled share exceeds that of as many units that each count once.

    Rao and Scott 1992, Biometrics 48:577-585: the ratio estimator's variance over clusters,
    m/(m-1) · Σ(count - p·of)² / (Σof)², over p(1-p)/Σof. Needs two clusters and a share strictly between 0 and 1.
    """
    count, of = _sums(shares)
    p = count / of
    clusters = len(shares)
    squares = sum((s.count - p * s.of) ** 2 for s in shares)
    return clusters / (clusters - 1) * squares / of / (p * (1 - p))


def by_child(shares: Sequence[Share], level: float = LEVEL) -> Estimate:
    """The pooled share of several children with limits that know that one child's days are alike.

    Wilson's limits on the effective number of units: the number divided by the design effect (never below 1),
    with Student's t on children less one for the normal value (Korn and Graubard 1998, Surv Methodol 24:193-201;
    from memory). Where all or none are counted the spread between children is not seen, so each child counts as
    one unit. Of one child, or none, there is a value and no limits.
    """
    held = [s for s in shares if s.of]
    count, of = _sums(held)
    if len(held) < 2:
        return Estimate(count / of if of else None, None, None)
    t = student_quantile((1 + level) / 2, len(held) - 1)
    effect = of / len(held) if count in (0, of) else max(1.0, design_effect(held))
    return _score_limits(count / effect, of / effect, t)


def _sums(shares: Sequence[Share]) -> tuple[int, int]:
    return sum(s.count for s in shares), sum(s.of for s in shares)
