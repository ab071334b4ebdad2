"""What stands out and what does not: on streams made for it, with a stated rate of false findings."""

from collections.abc import Callable, Iterator
from datetime import date, timedelta
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core.distributions import poisson_quantile
from service.core.listening.design import run_of
from service.core.measures.proportions import Share
from service.core.patterns.changes import BEFORE, RECENT, Counted, changed
from service.core.patterns.contacts import ANSWERS, TURNS, Turn, running, silent
from service.core.patterns.evidence import Two, by_child, chance_of
from service.core.patterns.looks import BUDGET, LOOKS, Finding, Kind, first_seen, level, weekly
from service.core.patterns.others import AT_LEAST, Seen, begun, stands_out

FIRST = date(2025, 8, 25)
DAYS = tuple(day for n in range(280) if (day := FIRST + timedelta(days=n)).weekday() < 5)[:175]
WEEKS = weekly(DAYS)
MANY = 60


def days_on_which(happens: Callable[[date], bool]) -> list[Counted]:
    return [Counted(day, Share(int(happens(day)), 1)) for day in DAYS]


def seen(look: date, **places: list[Counted]) -> list[Finding]:
    return list(changed(Kind.PASSED_ON, {("", name): held for name, held in places.items()}, look))


class TestEvidence:
    @given(here=st.integers(0, 12), of=st.integers(0, 12), there=st.integers(0, 12), rest=st.integers(0, 12))
    def test_it_is_a_chance_and_falls_as_more_happens_here(self, here: int, of: int, there: int, rest: int) -> None:
        two = Two(Share(min(here, of), of), Share(min(there, rest), rest))
        assert 0 < chance_of(two) <= 1
        if two.here.count < of and two.there.count:
            more = Two(Share(two.here.count + 1, of), Share(two.there.count - 1, rest))
            assert chance_of(more) <= chance_of(two)

    def test_a_child_with_all_the_faults_weighs_less_than_as_many_children_with_one_each(self) -> None:
        rest = [Share(1, 50) for _ in range(20)]
        many = [Share(1, 50) for _ in range(20)]
        one = [Share(20, 50), *[Share(0, 50) for _ in range(19)]]
        spread, heaped = by_child(many, rest), by_child(one, rest)
        assert spread == Two(Share(20, 1000), Share(20, 1000))
        assert heaped.here.count < 5
        assert chance_of(heaped) > 0.1

    def test_nothing_is_compared_with_nothing(self) -> None:
        assert chance_of(Two(Share(5, 5), Share(0, 0))) == 1.0


class TestLooks:
    def test_all_looks_at_all_units_share_the_budget(self) -> None:
        assert level(12) * LOOKS * 12 == pytest.approx(BUDGET)
        assert level(0) == level(1)

    def test_a_look_is_the_last_school_day_of_a_week(self) -> None:
        assert WEEKS[:2] == (date(2025, 8, 29), date(2025, 9, 5))
        assert weekly([date(2025, 11, 24), date(2025, 11, 26)]) == (date(2025, 11, 26),)
        assert len(WEEKS) <= LOOKS

    def test_what_is_found_again_was_found_before(self) -> None:
        def at(look: date) -> Iterator[Finding]:
            if look >= WEEKS[3]:
                yield Finding(Kind.CELLS, "shelf", "school", look, Share(1, 2))

        assert [one.on for one in first_seen(WEEKS, at)] == [WEEKS[3]]


class TestNowAgainstBefore:
    def test_a_school_whose_aide_left_is_found_within_two_weeks(self) -> None:
        left = DAYS[60]
        quiet = days_on_which(lambda day: day.day == 7)
        empty = days_on_which(lambda day: day >= left or day.day == 7)
        found = first_seen(WEEKS, lambda look: seen(look, quiet=quiet, empty=empty))
        assert [one.at for one in found] == ["empty"]
        assert left <= found[0].on <= left + timedelta(days=14)

    def test_two_bad_days_are_no_change(self) -> None:
        held = days_on_which(lambda day: day in DAYS[60:62] or day.day == 7)
        assert not first_seen(WEEKS, lambda look: seen(look, school=held))

    def test_a_look_knows_nothing_of_later_days(self) -> None:
        held = days_on_which(lambda day: day >= DAYS[60])
        assert not seen(DAYS[59], school=held)
        assert seen(DAYS[69], school=held)

    def test_there_must_be_enough_of_before(self) -> None:
        short = RECENT[Kind.PASSED_ON] + BEFORE - 1
        held = days_on_which(lambda day: day >= DAYS[short - 10])
        assert not seen(DAYS[short - 1], school=held)
        assert seen(DAYS[short], school=days_on_which(lambda day: day >= DAYS[short - 9]))

    def test_of_clean_years_no_more_speak_than_is_stated(self) -> None:
        """Sixty years of twelve schools in which somebody else is asked on one day in eight: at the stated rate six
        years would speak; more than one chance in a thousand allows would be a fault.
        """
        found = 0
        for year in range(MANY):
            chance = Random(f"clean {year}")
            schools = {f"s{n}": days_on_which(lambda _, c=chance: c.random() < 0.125) for n in range(12)}  # type: ignore[misc]
            found += len(first_seen(WEEKS, lambda look, held=schools: seen(look, **held)))  # type: ignore[misc]
        assert found <= poisson_quantile(0.999, BUDGET * MANY)


def worn(name: str, child: int, rate: float) -> list[Seen]:
    chance = Random(f"{name} {child}")
    return [Seen(day, f"{name}-{child}", chance.random() < rate) for day in DAYS]


def types(rates: dict[str, float]) -> dict[tuple[str, str], list[Seen]]:
    return {(name, ""): [s for n in range(24) for s in worn(name, n, rate)] for name, rate in rates.items()}


class TestOneAgainstTheRest:
    def test_a_type_that_fails_twice_as_often_is_found_within_the_year(self) -> None:
        held = types({"short": 0.01, "long": 0.01, "coiled": 0.02})
        found = first_seen(WEEKS, lambda look: stands_out(Kind.TYPE, held, look))
        assert [one.about for one in found] == ["coiled"]

    def test_types_alike_are_not_told_apart(self) -> None:
        held = types({"short": 0.01, "long": 0.01, "flat": 0.01})
        assert not first_seen(WEEKS, lambda look: stands_out(Kind.TYPE, held, look))

    def test_a_rough_child_is_no_bad_type(self) -> None:
        held = types({"short": 0.005, "long": 0.005, "coiled": 0.005})
        held["coiled", ""] += worn("rough", 1, 0.4)
        assert not list(stands_out(Kind.TYPE, held, DAYS[-1]))

    def test_a_few_are_too_few_to_speak_of(self) -> None:
        often = [Seen(day, f"c{n}", n < AT_LEAST - 1) for n, day in enumerate(DAYS[:8])]
        never = [Seen(day, f"d{n}", False) for n, day in enumerate(DAYS)]
        held = {("one", "school"): often, ("other", "school"): never * 4}
        assert not list(stands_out(Kind.OTHERWISE, held, DAYS[-1]))
        often[7] = Seen(DAYS[7], "c7", True)
        assert [one.about for one in stands_out(Kind.OTHERWISE, held, DAYS[-1])] == ["one"]

    def test_a_fault_that_stands_for_days_counts_once(self) -> None:
        found = begun("child", dict(zip(DAYS, (False, True, True, False, True), strict=False)))
        assert [one.happened for one in found] == [False, True, False, False, True]


class TestContacts:
    def test_the_rule_keeps_all_contacts_together_within_the_budget(self) -> None:
        for contacts in (1, 24, 500):
            wished = contacts * TURNS / BUDGET
            assert run_of(1 - ANSWERS, running(contacts)) >= wished > run_of(1 - ANSWERS, running(contacts) - 1)

    def test_so_many_turns_without_an_answer_speak_and_one_answer_ends_it(self) -> None:
        enough = running(1)
        never = [Turn(day, False) for day in DAYS[:enough]]
        key = ("second", "school")
        assert [(one.about, one.here) for one in silent({key: never}, DAYS[-1])] == [("second", Share(0, enough))]
        assert not list(silent({key: never[1:]}, DAYS[-1]))
        assert not list(silent({key: [*never[1:], Turn(DAYS[enough], True)]}, DAYS[-1]))
        assert not list(silent({key: never}, DAYS[enough - 2]))
