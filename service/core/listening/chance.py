"""What a score would be worth if the child were guessing, and a child who says yes to silences."""

from collections.abc import Iterable
from math import comb, factorial

from service.core.listening.answers import Listening

SILENCES_AT_LEAST = 6
"""Silences on which "says yes to silences" rests: a child who answers one in twenty by mistake reaches half of six
in 0.2 % of cases (binomial). Local choice.
"""


def tail(least: int, trials: int, chance: float) -> float:
    """The chance of at least `least` successes in `trials` independent trials of `chance` each (binomial law)."""
    counts = range(max(least, 0), trials + 1)
    return sum(comb(trials, k) * chance**k * (1 - chance) ** (trials - k) for k in counts)


def by_guessing(right: int, trials: int, choices: int) -> float:
    """The chance of naming at least `right` of `trials` sounds by guessing one of `choices` each time."""
    return tail(right, trials, 1 / choices)


def by_elimination(right: int, sounds: int) -> float:
    """The chance of at least `right` rights for a child who guesses an order in which each sound comes once.

    Permutations by their number of fixed points: C(n, k) D(n - k) of n!, D the derangements (the problem of
    coincidences, Montmort 1708; from memory).
    """
    counts = range(max(right, 0), sounds + 1)
    return sum(comb(sounds, k) * _derangements(sounds - k) for k in counts) / factorial(sounds)


def _derangements(n: int) -> int:
    """Permutations that leave nothing in its place: D(n) = n D(n - 1) + (-1)^n."""
    found = 1
    for k in range(1, n + 1):
        found = k * found + (-1) ** k
    return found


def says_yes_to_silence(checks: Iterable[Listening]) -> bool:
    """Whether the child answered at least half of the silences in these checks, and there were enough of them to
    tell. Such answers are reported as saying yes, not as hearing.
    """
    held = list(checks)
    silences = sum(check.silences for check in held)
    return silences >= SILENCES_AT_LEAST and 2 * sum(check.false for check in held) >= silences
