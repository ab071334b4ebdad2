"""An order of sounds that a child cannot learn, finish by elimination or answer with a steady yes."""

from datetime import date
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core.sounds import SIX, TRIALS, order, order_after, seed_for, sound_sets

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
def test_silences_are_no_more_than_the_sounds_that_come_again(seed: int | bytes, trials: int) -> None:
    assert order(seed, trials).count(None) <= (trials - len(SIX)) // 2


@given(SEEDS)
def test_the_same_seed_gives_the_same_order(seed: int | bytes) -> None:
    assert order(seed) == order(seed)


@given(st.lists(st.integers(0, 9), min_size=2, max_size=12))
def test_no_school_day_has_the_order_of_the_one_before(seeds: list[int]) -> None:
    """Few seeds and five lines of two sounds: here the same order comes up all the time."""
    days = [order_after(seeds[place:], 5, ("a", "b")) for place in range(len(seeds))]
    assert all(today != before for today, before in pairwise(days))


@given(SEEDS, SEEDS)
def test_the_order_is_that_of_its_own_seed_unless_it_was_had(seed: int | bytes, before: int | bytes) -> None:
    had, own = order(before), order(seed)
    assert order_after([seed]) == own
    assert (order_after([seed, before]) == own) is (own != had)


def test_without_a_seed_there_is_no_order() -> None:
    with pytest.raises(ValueError, match="at least that of the day itself"):
        order_after([])


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


def test_an_upgrade_in_mid_morning_does_not_shuffle_a_check_that_is_under_way() -> None:
    wren = seed_for("wren", date(2026, 11, 25), b"k")

    assert order(wren) == ("m", "s", "sh", "m", None, "ah", "ee", None, "oo", "ah")
    assert order(1) == ("s", None, "s", "oo", "m", "sh", "sh", "ah", "ee", "oo")


@pytest.mark.parametrize("name", sound_sets())
def test_a_set_of_its_own_has_room_for_every_sound_again_and_for_silences(name: str) -> None:
    own = sound_sets()[name]
    assert set(order(1, own.trials, own.sounds)) == {*own.sounds, None}
    assert len(set(own.sounds)) == len(own.sounds)
    assert set(own.high) < set(own.sounds)


def test_six_is_the_set_that_everybody_knows_and_ten_adds_four() -> None:
    assert sound_sets()["six"].sounds == SIX
    assert set(sound_sets()["ten"].sounds) - set(SIX) == {"z", "h", "n", "j"}


def test_too_few_lines_are_refused_with_what_would_be_right() -> None:
    with pytest.raises(ValueError, match=r"8 lines are too few for 6 sounds; at least 9"):
        order(1, 8)
