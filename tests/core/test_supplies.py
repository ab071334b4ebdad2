"""Spares before they run out, told as a coordinator would."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core.measures.survival import Spell
from service.core.supplies.demand import Demand, by_life, by_record, demand, forecast
from service.core.supplies.expiry import Expiring, expiring
from service.core.supplies.items import (
    Batch,
    Counted,
    Item,
    Kind,
    Place,
    Use,
    good_until,
    latest,
    left_after,
    usable,
)
from service.core.supplies.life import ENOUGH, Change, life, lifetimes
from service.core.supplies.low import newly_low
from service.core.supplies.shelf import Supplying, days_to_cover, order, reorder_point, runs_out

MONDAY = date(2026, 10, 5)
ROAD = Place("hollow-road")
ORDINARY = Item(Kind.CELL, "675", Use.ORDINARY)
NOON = datetime(2026, 10, 5, 17, tzinfo=UTC)


def after(days: int) -> date:
    return MONDAY + timedelta(days=days)


def school_days(weeks: int, closed: range = range(0)) -> list[date]:
    """Mondays to Fridays of so many weeks, without the weeks `closed`."""
    return [after(7 * week + day) for week in range(weeks) if week not in closed for day in range(5)]


# What is kept apart


def counted(on: date, *, at: datetime | None = None, left: int = 1) -> Counted:
    return Counted(ROAD, ORDINARY, on, (Batch(left),), at=at)


def test_of_two_counts_of_a_shelf_the_later_one_stands() -> None:
    folder, page = counted(after(1)), counted(MONDAY, at=NOON)
    assert latest(folder, page) is latest(page, folder) is folder


def test_a_count_of_the_folder_is_of_the_morning_so_one_of_that_days_noon_is_later() -> None:
    folder, page = counted(MONDAY), counted(MONDAY, at=NOON)
    assert latest(folder, page) is latest(page, folder) is page


def test_what_was_put_in_before_the_count_is_in_it_already() -> None:
    early, late = NOON - timedelta(hours=1), NOON + timedelta(hours=1)
    assert [counted(MONDAY, at=NOON).is_before(at, MONDAY) for at in (early, late)] == [False, True]
    assert counted(MONDAY).is_before(early, MONDAY)
    assert not counted(after(1)).is_before(late, MONDAY)


@pytest.mark.parametrize(("kind", "use"), [(Kind.CELL, None), (Kind.CABLE, Use.IMPLANT)])
def test_a_cell_without_a_use_is_refused_and_so_is_a_cable_with_one(kind: Kind, use: Use | None) -> None:
    with pytest.raises(ValueError, match="a use goes with cells alone"):
        Item(kind, "13", use)


def test_fewer_than_no_cells_cannot_be_counted() -> None:
    with pytest.raises(ValueError, match="-1"):
        Batch(-1)


# How long a cell lasts


def test_a_cell_changed_before_it_was_flat_lasted_longer_than_it_was_in() -> None:
    changes = [
        Change("st-1", "left", MONDAY, flat=True),
        Change("st-1", "left", after(8), flat=True),
        Change("st-1", "left", after(12), flat=False),
        Change("st-1", "right", after(2), flat=True),
    ]
    assert sorted(lifetimes(changes, after(20)), key=lambda s: s.length) == [
        Spell(4, ended=False), Spell(8), Spell(8, ended=False), Spell(18, ended=False),
    ]  # fmt: skip


def test_until_enough_cells_ran_flat_their_life_is_what_capacity_promises() -> None:
    few = life([Spell(9)] * (ENOUGH - 1), by_capacity=17.2)
    assert (few.days.value, few.days.low, few.from_record, few.flat) == (17.2, None, False, ENOUGH - 1)
    enough = life([Spell(9)] * ENOUGH, by_capacity=17.2)
    assert (enough.days.value, enough.from_record) == (9, True)


def test_leaving_out_cells_changed_early_would_make_all_look_short_lived() -> None:
    flat, early = [Spell(d) for d in (5, 6, 6, 7, 8, 12)], [Spell(9, ended=False)] * 6
    alone, together = life(flat, 17).days.value, life([*flat, *early], 17).days.value
    assert alone == 6
    assert together == 12


def test_cells_that_hardly_ever_run_flat_say_no_median_and_leave_it_to_capacity() -> None:
    found = life([*[Spell(3)] * ENOUGH, *[Spell(10, ended=False)] * 40], by_capacity=17)
    assert (found.days.value, found.from_record) == (17, False)


# How many will be used


def test_a_rate_from_little_asks_for_more_on_the_shelf_than_the_same_rate_from_much() -> None:
    little, much = by_record(6, 60), by_record(600, 6000)
    assert forecast(little, 60).expected == pytest.approx(forecast(much, 60).expected, rel=0.1)
    assert forecast(little, 60).high > forecast(much, 60).high


def test_the_record_is_gone_by_as_soon_as_it_holds_enough() -> None:
    printed = by_life(14)
    assert demand(4, 100, printed) is printed
    assert demand(5, 100, printed) == by_record(5, 100)
    assert printed.rate == pytest.approx(0.1)


def test_without_a_day_there_is_no_record() -> None:
    with pytest.raises(ValueError, match="no record to go by"):
        by_record(3, 0)


# When a shelf is empty and when to order


def test_a_room_will_be_out_of_cells_by_thursday_week() -> None:
    """Nine cells, one used a day: even odds by the end of the ninth school day; as a caution some days before."""
    found = runs_out(9, Demand(0.25), 4, school_days(6))
    assert found.likely == after(10)
    assert found.early is not None
    assert MONDAY < found.early < after(10)
    assert runs_out(0, Demand(0.25), 4, school_days(6)).likely == MONDAY


def test_a_shelf_lasts_over_the_holidays_because_nothing_is_used() -> None:
    through, over = school_days(8), school_days(8, closed=range(1, 3))
    first, second = (runs_out(10, Demand(0.25), 4, days).likely for days in (through, over))
    assert first is not None
    assert second == first + timedelta(days=14)


def test_a_shelf_is_empty_at_the_latest_when_all_on_it_has_gone_bad() -> None:
    """Wednesday of the second week is the last day on which anything is good; there are plenty until then."""
    found = runs_out(500, Demand(0.25), 4, school_days(6), good_until=after(9))
    assert (found.early, found.likely) == (after(9), after(9))
    assert runs_out(2, Demand(0.25), 4, school_days(6), good_until=after(9)).likely == after(1)
    assert good_until([Batch(3, after(9)), Batch(2, after(4))]) == after(9)
    assert good_until([Batch(3, after(9)), Batch(2)]) is None


def test_what_lasts_beyond_the_days_known_has_no_date() -> None:
    assert runs_out(500, Demand(0.25), 4, school_days(4)).likely is None


def test_a_parcel_that_comes_in_the_holidays_is_taken_in_after_them() -> None:
    """Two weeks on from Monday falls into a closed week: the shelf must last the two weeks and the first day back."""
    assert days_to_cover(school_days(6, closed=range(2, 4)), MONDAY, 14) == 11
    assert days_to_cover(school_days(6), MONDAY, 14) == 11
    assert days_to_cover(school_days(6, closed=range(1, 3)), MONDAY, 14) == 6
    assert days_to_cover(school_days(1), MONDAY, 14) == 5


HOW = Supplying(lead=7, review=7, lasts=14, level=0.95, pack=6)


def test_the_reorder_point_holds_for_lead_time_and_review_at_the_level_asked_for() -> None:
    """Eleven school days at half a cell a day: 5.5 on average; the Poisson table has 10 for 95 % (SciPy)."""
    assert reorder_point(Demand(0.125), 4, school_days(10), MONDAY, HOW) == 10


def test_at_the_point_whole_packs_are_ordered_and_what_is_on_its_way_counts() -> None:
    days = school_days(10)
    now = order(10, 0, Demand(0.125), 4, days, MONDAY, HOW)
    assert (now.point, now.position, now.count % 6) == (10, 10, 0)
    assert now.count >= 6
    assert order(11, 0, Demand(0.125), 4, days, MONDAY, HOW).count == 0
    assert order(4, 7, Demand(0.125), 4, days, MONDAY, HOW).count == 0
    assert order(0, 0, Demand(0.125), 0, days, MONDAY, HOW).count == 0


@given(st.integers(0, 40), st.floats(0.01, 0.5), st.integers(1, 12), st.integers(0, 50))
def test_an_order_always_lifts_the_shelf_above_its_point(on_hand: int, rate: float, devices: int, ahead: int) -> None:
    found = order(on_hand, 0, Demand(rate, 8), devices, school_days(12), after(ahead), HOW)
    assert found.count == 0 or found.position + found.count > found.point
    assert (found.count > 0) == (on_hand <= found.point)


@given(st.integers(1, 60), st.floats(0.01, 0.5), st.integers(1, 12))
def test_the_careful_date_is_never_after_the_likely_one(on_hand: int, rate: float, devices: int) -> None:
    found = runs_out(on_hand, Demand(rate, 6), devices, school_days(20))
    assert found.likely is None or (found.early is not None and found.early <= found.likely)


# What goes bad


def test_cells_gone_bad_are_not_counted_and_the_day_on_the_packet_still_is() -> None:
    batches = (Batch(6, after(0)), Batch(6, after(-1)), Batch(4))
    assert usable(batches, MONDAY) == 10


def test_the_oldest_are_used_first() -> None:
    batches = (Batch(4), Batch(6, after(30)), Batch(2, after(10)))
    assert left_after(batches, 5) == (Batch(3, after(30)), Batch(4))
    assert left_after(batches, 40) == ()


def test_what_will_not_be_used_in_time_is_said_oldest_first() -> None:
    """One a day: of ten that go bad on Friday five are used; of four more a week later none is left over."""
    found = expiring((Batch(4, after(11)), Batch(10, after(4))), Demand(0.25), 4, school_days(8), MONDAY)
    assert found == (Expiring(after(4), 10, 5), Expiring(after(11), 4, 0))


def test_a_shelf_run_low_is_told_of_once_until_it_was_filled_and_counted() -> None:
    told: frozenset[str] = frozenset()
    heard = []
    days = (({"13"}, set()), ({"13"}, set()), ({"13", "675"}, set()), (set(), {"13"}), ({"13", "675"}, set()))
    for low, counted_again in days:
        tell, told = newly_low(low, told, counted_again)
        heard.append(set(tell))
    assert heard == [{"13"}, set(), {"675"}, set(), {"13"}]


def test_a_shelf_that_is_counted_and_still_low_or_used_more_slowly_for_a_while_is_not_told_of_again() -> None:
    assert newly_low({"13"}, {"13"}, {"13"}) == (frozenset(), {"13"})
    assert newly_low(set(), {"13"}, set()) == (frozenset(), {"13"})
