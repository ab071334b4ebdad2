"""Chance levels of the six-sound check.

Sources: binomial and permutation counts, computed by hand and with a statistics package for the project's
facts ("Chance level, n-alternative identification"); no published table.
"""

from fractions import Fraction
from itertools import permutations, product
from math import comb

import pytest

from service.core.sounds import SIX, order

GUESS = Fraction(1, len(SIX))


def right(n: int, k: int, p: Fraction = GUESS) -> Fraction:
    return comb(n, k) * p**k * (1 - p) ** (n - k)


def at_least(n: int, k: int) -> Fraction:
    return sum((right(n, i) for i in range(k, n + 1)), Fraction())


def test_six_independent_guesses_score_as_computed() -> None:
    counts = [right(6, k) * 6**6 for k in range(7)]
    assert counts == [15625, 18750, 9375, 2500, 375, 30, 1]
    assert float(at_least(6, 4)) == pytest.approx(0.008702, abs=5e-7)


@pytest.mark.parametrize(
    ("trials", "five", "one"), [(6, 4, 4), (12, 5, 6), (18, 7, 8), (24, 8, 10), (30, 10, 11)]
)
def test_the_least_score_that_is_not_chance_is_as_computed(trials: int, five: int, one: int) -> None:
    def least(level: Fraction) -> int:
        return next(k for k in range(trials + 1) if at_least(trials, k) <= level)

    assert (least(Fraction(5, 100)), least(Fraction(1, 100))) == (five, one)


def test_a_child_who_knows_that_each_sound_comes_once_guesses_far_better() -> None:
    hits = [sum(a == b for a, b in enumerate(guess)) for guess in permutations(range(6))]
    assert [hits.count(k) for k in range(7)] == [265, 264, 135, 40, 15, 0, 1]


def test_six_coin_flips_and_two_silences_all_right_are_one_in_256() -> None:
    answers = list(product((True, False), repeat=8))
    heard = (*[True] * 6, *[False] * 2)
    assert answers.count(heard) / len(answers) == 0.00390625


def test_our_orders_keep_elimination_from_working() -> None:
    """A guesser who assumes one of each and crosses off what was said scores no more than the permutation's
    0.0222 for four of the first six, estimated over 4,000 orders (standard error below 0.0024).
    """
    lucky = 0
    for seed in range(4000):
        spoken = [line for line in order(seed) if line][:6]
        guess = [line for line in order(f"guess {seed}".encode()) if line]
        crossed = list(dict.fromkeys(guess))
        lucky += sum(a == b for a, b in zip(spoken, crossed, strict=True)) >= 4
    assert lucky / 4000 <= 0.0222
