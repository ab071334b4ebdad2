"""Chance levels of the six-sound check.

Sources: binomial and permutation counts, computed by hand and with a statistics package for the project's
facts ("Chance level, n-alternative identification"); no published table.
"""

from itertools import permutations, product
from math import comb, factorial

import pytest

from service.core.listening.chance import by_elimination, by_guessing, tail
from service.core.sounds import order


def test_six_independent_guesses_score_as_computed() -> None:
    exactly = [by_guessing(k, 6, 6) - by_guessing(k + 1, 6, 6) for k in range(7)]
    assert [round(chance * 6**6) for chance in exactly] == [15625, 18750, 9375, 2500, 375, 30, 1]
    assert by_guessing(4, 6, 6) == pytest.approx(0.008702, abs=5e-7)
    assert by_guessing(3, 6, 6) == pytest.approx(0.062286, abs=5e-7)


@pytest.mark.parametrize(
    ("trials", "least", "printed"), [(10, 3, 0.07019), (10, 4, 0.01280), (20, 5, 0.04317), (20, 6, 0.01125)]
)
def test_ten_sounds_guessed_score_as_computed(trials: int, least: int, printed: float) -> None:
    assert by_guessing(least, trials, 10) == pytest.approx(printed, abs=6e-6)


@pytest.mark.parametrize(
    ("trials", "five", "one"), [(6, 4, 4), (12, 5, 6), (18, 7, 8), (24, 8, 10), (30, 10, 11)]
)
def test_the_least_score_that_is_not_chance_is_as_computed(trials: int, five: int, one: int) -> None:
    def least(level: float) -> int:
        return next(k for k in range(trials + 1) if by_guessing(k, trials, 6) <= level)

    assert (least(0.05), least(0.01)) == (five, one)


def test_a_child_who_knows_that_each_sound_comes_once_guesses_far_better() -> None:
    hits = [sum(a == b for a, b in enumerate(guess)) for guess in permutations(range(6))]
    assert [hits.count(k) for k in range(7)] == [265, 264, 135, 40, 15, 0, 1]
    for least in range(7):
        assert by_elimination(least, 6) * factorial(6) == pytest.approx(sum(hit >= least for hit in hits))
    assert by_elimination(4, 6) == pytest.approx(0.0222, abs=5e-5)


@pytest.mark.parametrize("n", range(1, 12))
def test_the_binomial_tail_is_whole_and_symmetrical(n: int) -> None:
    assert tail(0, n, 0.3) == pytest.approx(1)
    assert tail(n, n, 0.5) == 0.5**n
    assert all(
        tail(k, n, 0.3) - tail(k + 1, n, 0.3) == pytest.approx(comb(n, k) * 0.3**k * 0.7 ** (n - k))
        for k in range(n)
    )


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
