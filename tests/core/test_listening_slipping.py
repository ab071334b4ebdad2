"""A child watched against what is usual for it: spoken of once, within a budget, and not while a fault stands."""

import random
from dataclasses import replace
from statistics import mean, stdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core.district import Side
from service.core.listening.answers import Level, Listening, Response
from service.core.listening.slipping import Plan, Why, false_alarms_a_year, rules_of, watch
from service.core.listening.usual import HEARD, Ear, Usual
from service.core.sounds import SIX
from tests.core.listening_made import check, day

S = Ear("", "s")
PLAN = Plan({Ear("", sound): HEARD for sound in SIX}, {"": 180})


def test_three_misses_running_are_spoken_of_on_the_third_day_and_not_again() -> None:
    said = watch(PLAN, [check(n, "s" if n >= 20 else "") for n in range(30)])[S]
    assert (said.spoke, said.why, said.missed, said.checks) == (day(22), Why.RUNNING, 3, 3)


def test_a_miss_every_other_day_is_spoken_of_too() -> None:
    said = watch(PLAN, [check(n, "s" if n % 2 else "") for n in range(10)])[S]
    assert (said.spoke, said.why, said.missed, said.checks) == (day(7), Why.POINTS, 4, 7)


def test_a_miss_now_and_then_is_not() -> None:
    said = watch(PLAN, [check(n, "s" if n % 10 == 0 else "") for n in range(180)])
    assert all(ear.spoke is None for ear in said.values())


def test_days_with_a_fault_open_neither_count_nor_break_a_run() -> None:
    days = [check(0, "s"), check(1, "s"), *(check(n, "s", faulty=True) for n in range(2, 9))]
    assert watch(PLAN, days)[S].spoke is None
    assert watch(PLAN, [*days, check(9, "s")])[S].spoke == day(9)


def test_a_sound_the_child_never_had_is_no_fault() -> None:
    plan = replace(PLAN, usual={**PLAN.usual, S: Usual(15, 15)})
    assert S not in watch(plan, [check(n, "s") for n in range(20)])


def test_after_the_audiologist_has_looked_it_begins_anew() -> None:
    days = [check(n, "s") for n in range(5)]
    looked = replace(PLAN, looked={S: day(3)})
    assert watch(looked, days)[S].spoke is None
    assert watch(looked, [*days, check(5, "s")])[S].spoke == day(5)


def test_a_side_alone_is_watched_by_itself() -> None:
    left = Ear("left", "s")
    plan = Plan({left: HEARD, Ear("right", "s"): HEARD}, {"left": 36, "right": 36})
    said = watch(plan, [check(n, "s", Side.LEFT) for n in range(2)])
    assert said[left].missed == 2
    assert said[Ear("right", "s")].checks == 0


def test_where_sounds_are_to_be_named_noticing_is_not_enough() -> None:
    plan = replace(PLAN, level=Level.IDENTIFY)
    assert watch(plan, [check(n) for n in range(3)])[S].spoke == day(2)
    assert watch(PLAN, [check(n) for n in range(3)])[S].spoke is None


def test_a_yes_to_every_silence_does_not_hide_a_loss() -> None:
    """What a child notices on a day on which it answers silences takes no points away."""
    days = [check(n, "s" if n % 2 else "", false=0 if n % 2 else 1) for n in range(6)]
    assert watch(PLAN, days)[S].spoke == day(5)


@given(st.lists(st.sampled_from(["", "s", "sh s", "m oo ah ee sh s"]), max_size=40))
def test_what_was_spoken_of_stays_and_nothing_is_spoken_of_before_it_was_missed(missed: list[str]) -> None:
    days = [check(n, gone) for n, gone in enumerate(missed)]
    at_last = watch(PLAN, days)
    for ear, standing in at_last.items():
        if standing.spoke is not None:
            until = [c for c in days if c.day <= standing.spoke]
            assert watch(PLAN, until)[ear] == standing
            assert until[-1].answers[ear.sound] is Response.MISSED


PLANS = {
    "as worn, every day": PLAN,
    "and each side alone once a week": Plan(
        {Ear(side, sound): HEARD for side in ("", "left", "right") for sound in SIX},
        {"": 180, "left": 36, "right": 36},
    ),
    "some sounds are usually missed": Plan(
        {Ear("", sound): Usual(n, 15) for n, sound in enumerate(SIX)}, {"": 180}
    ),
}


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_the_budget_of_false_alarms_is_shared_and_kept(plan: Plan) -> None:
    assert 0.3 < false_alarms_a_year(plan) <= plan.budget


@pytest.mark.parametrize("budget", [0.1, 0.5, 2.0])
def test_a_district_that_accepts_fewer_false_alarms_waits_longer(budget: float) -> None:
    rules = rules_of(replace(PLAN, budget=budget))
    assert false_alarms_a_year(replace(PLAN, budget=budget)) <= budget
    assert rules[S].median_checks(0.40) == {0.1: 12, 0.5: 9, 2.0: 7}[budget]


def test_a_child_of_whom_nothing_is_known_yet_is_not_watched() -> None:
    assert watch(Plan({}, {"": 180}), [check(0, "s")]) == {}


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)
def test_simulated_years_in_which_nothing_changes_keep_the_budget(plan: Plan) -> None:
    """200 child-years a plan; after each false alarm the watch begins anew the next day."""
    chance = random.Random(113)
    years = [_false_alarms(plan, chance) for _ in range(200)]
    assert mean(years) <= plan.budget + 2 * stdev(years) / len(years) ** 0.5
    assert mean(years) == pytest.approx(false_alarms_a_year(plan), abs=4 * stdev(years) / len(years) ** 0.5)


def _false_alarms(plan: Plan, chance: random.Random) -> int:
    alarms = 0
    for ear, rule in rules_of(plan).items():
        state = (0, 0)
        for _ in range(plan.checks_a_year[ear.side]):
            state = rule.after(state, chance.random() < rule.rate)
            if rule.speaks(state):
                state, alarms = (0, 0), alarms + 1
    return alarms


def test_a_year_of_a_child_who_loses_s_from_january_is_spoken_of_within_days() -> None:
    """Sixty such children: /s/ heard on 95 of 100 days, then on 60; half are spoken of within the stated nine checks,
    give or take what sixty allow.
    """
    delays = []
    for seed in range(60):
        chance = random.Random(seed)
        year = [_day(n, 0.40, chance) for n in range(80, 180)]
        spoke = watch(PLAN, year)[S].spoke
        delays.append(next(n for n in range(180) if day(n) == spoke) - 80 + 1 if spoke else 999)
    assert sorted(delays)[30] <= 12


def _day(n: int, rate: float, chance: random.Random) -> Listening:
    return check(n, "s" if chance.random() < rate else "")
