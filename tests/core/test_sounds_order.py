"""An order of sounds that a child cannot learn, finish by elimination or answer with a steady yes."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core.sounds import SIX, TRIALS, order, seed_for

SEEDS = st.integers(0, 2**32) | st.binary(min_size=1, max_size=40)
LINES = st.integers(9, 30)


@given(SEEDS, LINES)
def test_every_sound_comes_and_nothing_else_does(seed: int | bytes, trials: int) -> None:
    lines = order(seed, trials)
    assert len(lines) == trials
    assert set(lines) == {*SIX, None}


@given(SEEDS, LINES)
def test_some_sound_comes_again_so_that_the_last_cannot_be_worked_out(seed: int | bytes, trials: int) -> None:
    spoken = [line for line in order(seed, trials) if line]
    assert len(spoken) > len(SIX)


@given(SEEDS, LINES)
def test_a_check_does_not_begin_with_two_silences(seed: int | bytes, trials: int) -> None:
    assert order(seed, trials)[:2] != (None, None)


@given(SEEDS, LINES)
def test_most_lines_are_sounds(seed: int | bytes, trials: int) -> None:
    assert order(seed, trials).count(None) <= trials // 2


@given(SEEDS)
def test_the_same_seed_gives_the_same_order(seed: int | bytes) -> None:
    assert order(seed) == order(seed)


@given(SEEDS)
def test_the_order_before_is_never_used_again(seed: int | bytes) -> None:
    before = order(seed)
    assert order(seed, previous=before) != before


def test_how_often_each_sound_and_silence_comes_differs_from_day_to_day() -> None:
    counts = {tuple(order(seed).count(line) for line in (*SIX, None)) for seed in range(200)}
    assert len(counts) > 20


def test_every_line_can_be_any_sound_or_silence() -> None:
    seen = [{order(seed)[place] for seed in range(600)} for place in range(TRIALS)]
    assert all(found == {*SIX, None} for found in seen)


def test_two_students_two_days_and_two_secrets_have_their_own_orders() -> None:
    day = date(2026, 11, 25)
    seeds = {
        seed_for("wren", day, b"k"),
        seed_for("moss", day, b"k"),
        seed_for("wren", date(2026, 11, 26), b"k"),
        seed_for("wren", day, b"l"),
    }
    assert len({order(seed) for seed in seeds}) == 4


def test_a_language_may_bring_its_own_sounds() -> None:
    ten = (*SIX, "z", "h", "n", "j")
    assert set(order(1, 14, ten)) == {*ten, None}


def test_too_few_lines_are_refused_with_what_would_be_right() -> None:
    with pytest.raises(ValueError, match=r"8 lines are too few for 6 sounds; at least 9"):
        order(1, 8)
