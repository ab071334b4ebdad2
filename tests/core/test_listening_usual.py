"""A child's own baseline: what is learnt, when it is a question, and what cannot be watched."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core.district import Side
from service.core.listening.answers import Level
from service.core.listening.chance import tail
from service.core.listening.usual import CLASSES, Ask, Learnt, Usual, is_worse, learn
from tests.core.listening_made import check

DETECT = Level.DETECT


def learnt(misses: int, last_term: Usual | None = None) -> Learnt:
    return learn([check(n, "s" if n < misses else "") for n in range(15)], None, "s", DETECT, last_term)


def test_fifteen_mornings_make_a_baseline() -> None:
    mornings = [check(n, "s" if n in (2, 9) else "") for n in range(20)]
    assert learn(mornings[:14], None, "s", DETECT) == Learnt(14)
    assert learn(mornings, None, "s", DETECT) == Learnt(15, Usual(2, 15))


def test_a_morning_with_a_fault_open_or_of_another_side_teaches_nothing() -> None:
    mornings = [check(n, "s", faulty=True) for n in range(10)] + [check(n, "s", Side.LEFT) for n in range(10)]
    assert learn(mornings, None, "s", DETECT) == Learnt(0)


def test_a_sound_that_was_never_heard_is_a_question_and_no_baseline_to_watch() -> None:
    never = learnt(15)
    assert never.ask is Ask.NEVER_HEARD
    assert never.usual is not None
    assert never.usual.watched_at is None


def test_a_sound_that_is_missed_too_often_is_a_question() -> None:
    assert learnt(5).ask is None
    assert learnt(6).ask is Ask.SELDOM_HEARD


def test_a_sound_that_went_since_last_term_is_asked_about_not_learnt_away() -> None:
    assert learnt(4, last_term=Usual(0, 15)).ask is Ask.WORSE
    assert learnt(15, last_term=Usual(0, 15)).ask is Ask.WORSE
    assert learnt(3, last_term=Usual(0, 15)).ask is None
    assert learnt(4, last_term=Usual(4, 15)).ask is None


def test_a_sound_that_was_never_there_is_not_worse_than_last_term() -> None:
    assert learnt(15, last_term=Usual(15, 15)).ask is Ask.NEVER_HEARD


@pytest.mark.parametrize(("missed", "watched_at"), [(0, 0.05), (1, 0.10), (2, 0.20), (5, 0.35), (6, None)])
def test_fifteen_checks_are_few_so_the_share_is_taken_carefully(
    missed: int, watched_at: float | None
) -> None:
    assert Usual(missed, 15).watched_at == watched_at


@given(st.integers(1, 200).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_the_class_is_never_milder_than_the_share(counts: tuple[int, int]) -> None:
    usual = Usual(*counts)
    assert 0 < usual.rate < 1
    assert usual.watched_at is None or (usual.watched_at in CLASSES and usual.watched_at >= usual.rate)


@given(st.integers(0, 15), st.integers(0, 5))
def test_more_misses_never_look_less_worse(now: int, before: int) -> None:
    assert is_worse(Usual(now, 15), Usual(before, 15)) <= is_worse(
        Usual(min(now + 1, 15), 15), Usual(before, 15)
    )


def test_four_misses_of_fifteen_come_by_chance_in_one_of_180_where_one_in_twenty_is_usual() -> None:
    """Exact binomial tails, computed by hand for 15 checks: 0.0055 and 0.0362."""
    assert tail(4, 15, 0.05) == pytest.approx(0.0055, abs=5e-5)
    assert tail(3, 15, 0.05) == pytest.approx(0.0362, abs=5e-5)


@pytest.mark.parametrize(("missed", "checks"), [(3, 2), (-1, 5), (0, 0)])
def test_counts_that_cannot_be_are_refused(missed: int, checks: int) -> None:
    with pytest.raises(ValueError, match=f"{missed} of {checks} missed; say how many"):
        Usual(missed, checks)
