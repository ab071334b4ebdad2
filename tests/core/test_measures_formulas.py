"""What the formulas of the measures promise whatever the data are."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core.measures.interval import Estimate
from service.core.measures.proportions import Share, by_child, design_effect, wilson
from service.core.measures.rates import rate
from service.core.measures.survival import Spell, curve, ended_by, quantile

shares = st.integers(1, 60).flatmap(lambda of: st.builds(Share, st.integers(0, of), st.just(of)))
spells = st.lists(st.builds(Spell, st.integers(0, 400).map(float), st.booleans()), max_size=40)


def known(found: Estimate) -> tuple[float, float, float]:
    """Lower limit, value, upper limit, where the data can say all three."""
    assert found.low is not None
    assert found.value is not None
    assert found.high is not None
    return found.low, found.value, found.high


@given(shares)
def test_wilson_limits_hold_their_share_and_stay_between_nought_and_one(share: Share) -> None:
    low, value, high = known(wilson(share.count, share.of))
    assert 0 <= low <= value <= high <= 1
    other = wilson(share.of - share.count, share.of)
    assert other.low == pytest.approx(1 - high)


def test_of_nothing_there_is_no_share() -> None:
    assert wilson(0, 0).value is None
    assert by_child([]).value is None
    assert by_child([Share(0, 0)]).value is None


def test_a_share_of_more_than_there_are_is_refused() -> None:
    with pytest.raises(ValueError, match="5 of 4"):
        Share(5, 4)


def test_one_child_says_nothing_about_others() -> None:
    found = by_child([Share(30, 40)])
    assert (found.value, found.low, found.high) == (0.75, None, None)


@given(st.lists(shares, min_size=2, max_size=25))
def test_limits_by_child_hold_the_pooled_share_and_are_never_narrower_than_wilsons(held: list[Share]) -> None:
    count, of = sum(s.count for s in held), sum(s.of for s in held)
    low, value, high = known(by_child(held))
    narrow, _, wide = known(wilson(count, of))
    assert value == pytest.approx(count / of)
    assert 0 <= low <= narrow + 1e-12
    assert wide - 1e-12 <= high <= 1


def test_children_who_are_wholly_alike_or_wholly_different_count_as_so_many() -> None:
    """Four children always heard and four never: eight units, however many mornings; the formula by hand."""
    apart = [Share(20, 20)] * 4 + [Share(0, 20)] * 4
    assert design_effect(apart) == pytest.approx(20 * 8 / 7)
    assert by_child([Share(20, 20)] * 8).low == pytest.approx(by_child([Share(1, 1)] * 8).low)


@given(st.integers(0, 300), st.floats(0.5, 5000))
def test_limits_of_a_rate_hold_it(events: int, days: float) -> None:
    low, value, high = known(rate(events, days))
    assert low <= value <= high
    assert rate(events, days * 2).high == pytest.approx(high / 2)


def test_without_a_device_day_there_is_no_rate() -> None:
    assert rate(0, 0).value is None


@given(spells)
def test_a_curve_falls_and_its_limits_hold_it(held: list[Spell]) -> None:
    points = curve(held)
    goings = [p.going for p in points]
    assert goings == sorted(goings, reverse=True)
    assert all(0 <= p.low <= p.going <= p.high <= 1 for p in points)


@given(spells)
def test_without_open_spells_the_curve_is_the_share_still_going(held: list[Spell]) -> None:
    ended = [s for s in held if s.ended]
    for point in curve(ended):
        longer = sum(s.length > point.time for s in ended)
        assert point.going == pytest.approx(longer / len(ended))


@given(spells, st.integers(0, 400))
def test_a_spell_still_open_never_makes_repairs_look_quicker(held: list[Spell], length: int) -> None:
    """Taking an end from one spell can only raise the median, or leave it unknown."""
    ended = [Spell(float(length)), *held]
    still = [Spell(float(length), ended=False), *held]
    before, after = quantile(curve(ended)).value, quantile(curve(still)).value
    assert after is None or (before is not None and before <= after)


def test_a_median_that_was_not_reached_is_not_made_up() -> None:
    held = [Spell(10), Spell(20, ended=False), Spell(20, ended=False)]
    assert quantile(curve(held)).value is None
    assert ended_by(curve(held), 15).value == pytest.approx(1 / 3)
    assert ended_by(curve(held), 5).value == 0
    assert ended_by(curve([]), 5).value is None


def test_a_time_below_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="less than none"):
        Spell(-1)
