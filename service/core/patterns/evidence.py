"""How likely a share as great as one of two would be, were both the same: Fisher's exact test."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import exp, lgamma

from service.core.measures.proportions import Share, design_effect


@dataclass(frozen=True)
class Two:
    """A share that may stand out, and the one that it is held against."""

    here: Share
    there: Share


def chance_of(two: Two) -> float:
    """The chance of as many or more `here`, given all that happened here and there: the upper tail of the
    hypergeometric law. Fisher 1935, The logic of inductive inference, Journal of the Royal Statistical Society
    98:39-82. It holds exactly whatever the common share is; 1 where there is nothing to compare.
    """
    here, there = two.here, two.there
    count, of = here.count + there.count, here.of + there.of
    if not here.of or not there.of:
        return 1.0
    whole = _choices(of, count)
    possible = range(here.count, min(count, here.of) + 1)
    return min(1.0, sum(exp(_choices(here.of, k) + _choices(there.of, count - k) - whole) for k in possible
                        if count - k <= there.of))  # fmt: skip


def _choices(of: int, count: int) -> float:
    """The logarithm of the number of ways to choose `count` of `of`."""
    return lgamma(of + 1) - lgamma(count + 1) - lgamma(of - count + 1)


def by_child(here: Iterable[Share], there: Iterable[Share]) -> Two:
    """Shares by child as one comparison, both made smaller by as much as children differ among themselves.

    A child with many faults of its own weighs as what it is: counts are divided by the design effect (Rao and Scott
    1992, Biometrics 48:577-585), the greater of the two sides', and rounded down.
    """
    sides = [list(here), list(there)]
    effect = max(1.0, *(design_effect(side) for side in sides if _varies(side)), 1.0)
    found = [Share(int(_count(side) / effect), int(_of(side) / effect)) for side in sides]
    return Two(found[0], found[1])


def _varies(side: list[Share]) -> bool:
    return len(side) > 1 and 0 < _count(side) < _of(side)


def _count(side: list[Share]) -> int:
    return sum(share.count for share in side)


def _of(side: list[Share]) -> int:
    return sum(share.of for share in side)
