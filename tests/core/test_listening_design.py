"""The two rules: what a miss weighs, how much it takes, and what that costs in false alarms and in days."""

import random
from statistics import mean, median, stdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core.listening.design import BUDGET, DROP, Rule, rule_for, wished_run_length
from service.core.listening.runlength import average_run_length, median_run_length
from service.core.listening.usual import CLASSES

DAILY = wished_run_length(6 * 180)
"""Six sounds with everything as worn, every school day."""

WITH_SIDES = wished_run_length(6 * 180 + 12 * 36)
"""The same, and each side alone once a week."""


@pytest.mark.parametrize("every", [DAILY, WITH_SIDES])
@pytest.mark.parametrize("rate", CLASSES)
def test_both_rules_together_keep_the_wished_run_length(rate: float, every: float) -> None:
    rule = rule_for(rate, every)
    assert rule.checks_between(rate) >= every
    assert Rule(rate, rule.miss, rule.limit - 1, rule.running).checks_between(rate) < every


@pytest.mark.parametrize("rate", CLASSES)
def test_misses_running_use_up_at_most_half_of_the_budget(rate: float) -> None:
    running = rule_for(rate, DAILY).running
    assert run_alone(rate, running).checks_between(rate) >= 2 * DAILY
    assert running == 3 or run_alone(rate, running - 1).checks_between(rate) < 2 * DAILY


def run_alone(rate: float, running: int) -> Rule:
    """The rule of misses running by itself: no miss adds a point."""
    return Rule(rate, miss=0, limit=1, running=running)


def test_three_misses_running_speak_where_a_sound_is_nearly_always_heard_and_more_where_it_is_not() -> None:
    assert [rule_for(rate, DAILY).running for rate in CLASSES] == [3, 4, 5, 6, 6, 7, 8, 9]


def test_how_slow_the_rule_is_for_a_drop_from_95_to_60_in_100() -> None:
    assert rule_for(0.05, DAILY) == Rule(0.05, miss=5, limit=15, running=3)
    assert rule_for(0.05, DAILY).median_checks(0.40) == 9
    assert rule_for(0.05, WITH_SIDES).median_checks(0.40) == 9
    assert [rule_for(rate, DAILY).median_checks(rate + DROP) for rate in CLASSES] == [
        9,
        12,
        15,
        17,
        17,
        19,
        20,
        23,
    ]


def test_a_sound_that_is_gone_altogether_is_noticed_on_the_third_check() -> None:
    assert rule_for(0.05, DAILY).median_checks(1.0) == 3


@given(st.floats(0.06, 0.95), st.floats(0.0, 0.04))
def test_the_more_is_missed_the_sooner_it_speaks(rate: float, more: float) -> None:
    rule = rule_for(0.05, DAILY)
    assert rule.checks_between(rate + more) <= rule.checks_between(rate) * (1 + 1e-9)


@pytest.mark.parametrize("rate", [0.05, 0.40])
def test_simulated_checks_between_alarms_and_delays_are_as_the_chain_says(rate: float) -> None:
    rule = rule_for(0.05, DAILY)
    chance = random.Random(59)

    def run() -> int:
        state, checks = (0, 0), 0
        while not rule.speaks(state):
            state, checks = rule.after(state, chance.random() < rate), checks + 1
        return checks

    runs = [run() for _ in range(300 if rate == 0.05 else 4000)]
    assert mean(runs) == pytest.approx(rule.checks_between(rate), abs=3.5 * stdev(runs) / len(runs) ** 0.5)
    assert median(runs) == pytest.approx(rule.median_checks(rate), rel=0.2)


@pytest.mark.parametrize(("rate", "printed"), [(0.5, 14), (0.2, 155), (0.1, 1110)])
def test_three_running_alone_are_as_rare_as_the_closed_form_says(rate: float, printed: int) -> None:
    """(1 - p^r) / (q p^r): Feller 1968 I, XIII.7; three heads running take 14 throws (from memory)."""
    assert run_alone(rate, 3).checks_between(rate) == pytest.approx(printed)


def test_run_lengths_far_beyond_a_life_keep_their_figures() -> None:
    """Nine misses running at one in a hundred, by the closed form: (1 - p^r) / (q p^r)."""
    assert run_alone(0.01, 9).checks_between(0.01) == pytest.approx((1 - 1e-18) / (0.99e-18))


def test_a_rule_that_can_never_speak_is_refused() -> None:
    with pytest.raises(ValueError, match="never speaks"):
        average_run_length(0, lambda state: [(1.0, state)])
    with pytest.raises(ValueError, match="never speaks"):
        median_run_length(0, lambda state: [(1.0, state)])
    with pytest.raises(ValueError, match="never speaks"):
        average_run_length(0, lambda state: [(0.5, None), (0.5, 1)] if state == 0 else [(1.0, 1)])


@pytest.mark.parametrize("rate", [0.0, -0.1, 0.65, 1.0])
def test_a_share_that_leaves_no_room_for_a_drop_is_refused(rate: float) -> None:
    with pytest.raises(ValueError, match=r"cannot be watched; give one between 0 and 0\.65"):
        rule_for(rate, DAILY)


@pytest.mark.parametrize(("checks", "budget"), [(0, BUDGET), (100, 0.0), (-1, BUDGET)])
def test_a_budget_of_nothing_is_refused(checks: int, budget: float) -> None:
    with pytest.raises(ValueError, match="both must be above zero"):
        wished_run_length(checks, budget)
