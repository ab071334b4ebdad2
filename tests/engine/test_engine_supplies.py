"""Shelves beside the record: what was put in at school is taken off, and a record of enough of it sets the pace."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from service.core.supplies.items import Batch, Kind
from service.core.supplies.told import Cell
from service.engine import commands, planner, proving
from service.engine.clock import SteppedClock
from service.engine.counting import Counting, count
from service.engine.desk import Desk
from service.engine.shelf_record import record_of
from service.engine.supplies import Stand, stands
from service.store import supplies
from service.store.base import Store
from tests.engine.engine_district import district
from tests.engine.engine_morning import Receivers, at, open_desk, play_to, says

CHECKER = "school000-room0"
SHELF = {
    "school": "school000", "kind": "cell", "size": "675", "use": "implant", "students": [f"{CHECKER}-child0"],
    "counted": "2026-10-05", "pieces": ["3"], "delivery": "7 days", "lasts": "5 days",
}  # fmt: skip


COORDINATOR = "C"


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    store = Store(f"sqlite:///{tmp_path / 'supplies.db'}")
    store.upgrade()
    made = open_desk(store, SteppedClock(at("07:00")))
    own = {**SHELF, "use": "ordinary", "pieces": ["40"]}
    commands.configure(made, {**district(children=2), "supplies": {"implant": SHELF, "ordinary": own}}, "C")
    planner.plan_all(made)
    return made


def told(receivers: Receivers) -> list[str]:
    """What the coordinator read of shelves."""
    return [e.text for e in receivers.told(COORDINATOR) if "low, please order" in e.text]


def counts(desk: Desk, shelf: str, *pieces: Batch, on_order: int = 0) -> Counting:
    with desk.glance() as m:
        last = supplies.latest(m.tx, [shelf]).get(shelf)
    return count(desk, COORDINATOR, shelf, pieces, on_order, last.id if last else "")


def look(desk: Desk) -> dict[str, Stand]:
    with desk.glance() as m:
        return {stand.shelf.id: stand for stand in stands(m)}


def morning(desk: Desk, day: str) -> None:
    """A flat battery, changed by whoever found it."""
    receivers = Receivers()
    play_to(desk, "07:30", receivers, day)
    planner.plan_all(desk)
    for wall, text in (("08:06", "1 battery, rest ok"), ("08:08", "1 fixed")):
        play_to(desk, wall, receivers, day)
        says(desk, CHECKER, text, f"{day}-{wall}")
        play_to(desk, wall, receivers, day)


def test_a_shelf_that_was_never_drawn_from_goes_by_what_one_is_said_to_last(desk: Desk) -> None:
    shelf = look(desk)["implant"]
    assert (shelf.on_hand, shelf.used, shelf.by_record) == (3, 0, False)
    assert shelf.empty.likely is not None
    assert shelf.empty.likely < (at("08:00") + timedelta(days=21)).date()
    assert shelf.order.count > 0


def test_a_battery_changed_at_school_is_off_the_shelf(desk: Desk) -> None:
    morning(desk, "2026-10-05")
    assert (look(desk)["implant"].on_hand, look(desk)["implant"].used) == (2, 1)


def test_plenty_of_ordinary_cells_never_stands_in_for_an_implants(desk: Desk) -> None:
    held = look(desk)
    assert (held["ordinary"].on_hand, held["ordinary"].order.count) == (40, 0)
    assert held["implant"].order.count > 0


def test_five_changes_make_a_record_that_sets_the_pace(desk: Desk) -> None:
    """A change every day for a week is faster than one in five days."""
    before = look(desk)["ordinary"].empty.likely
    for n in range(5):
        morning(desk, f"2026-10-{5 + n:02}")
    shelf = look(desk)["ordinary"]
    assert (shelf.used, shelf.by_record) == (5, True)
    assert before is None or (shelf.empty.likely is not None and shelf.empty.likely < before)


# Told of once


def test_a_low_shelf_is_told_of_once_on_a_school_morning_until_it_was_filled_and_counted(desk: Desk) -> None:
    receivers = Receivers()
    play_to(desk, "07:59", receivers)
    assert told(receivers) == []
    play_to(desk, "08:01", receivers)
    (letter,) = told(receivers)
    assert "size-675 implant cells by" in letter
    assert "ordinary" not in letter
    for day in ("2026-10-06", "2026-10-07"):
        planner.plan_all(desk)
        play_to(desk, "08:01", receivers, day)
    assert len(told(receivers)) == 1
    for day, left in (("2026-10-08", 60), ("2026-10-09", 2)):
        planner.plan_all(desk)
        assert counts(desk, "implant", Batch(left)) is Counting.RECORDED
        play_to(desk, "08:01", receivers, day)
    assert len(told(receivers)) == 2


def test_a_day_without_school_tells_nothing_and_the_next_school_day_does(desk: Desk) -> None:
    receivers = Receivers()
    commands.give_notice(desk, "closed today", COORDINATOR, "school000")
    play_to(desk, "12:00", receivers)
    assert told(receivers) == []
    planner.plan_all(desk)
    play_to(desk, "08:01", receivers, "2026-10-06")
    assert len(told(receivers)) == 1


def test_who_keeps_a_shelf_is_told_in_place_of_the_coordinators(tmp_path: Path) -> None:
    store = Store(f"sqlite:///{tmp_path / 'kept.db'}")
    store.upgrade()
    desk = open_desk(store, SteppedClock(at("07:00")))
    office = "school000-office"
    commands.configure(desk, {**district(), "supplies": {"implant": {**SHELF, "keepers": [office]}}}, "C")
    planner.plan_all(desk)
    receivers = Receivers()
    play_to(desk, "08:01", receivers)
    assert told(receivers) == []
    assert "low, please order" in receivers.told(office)[0].text


# Counted on the page


def test_the_later_of_two_counts_holds_and_what_was_put_in_before_it_is_in_it(desk: Desk) -> None:
    morning(desk, "2026-10-05")
    assert counts(desk, "implant", Batch(7, date(2028, 1, 1)), Batch(1), on_order=6) is Counting.RECORDED
    shelf = look(desk)["implant"]
    assert (shelf.on_hand, shelf.used, shelf.counted.by, shelf.counted.on_order) == (8, 0, COORDINATOR, 6)
    assert shelf.other is not None
    assert shelf.other.by is None
    planner.plan_all(desk)
    morning(desk, "2026-10-06")
    assert (look(desk)["implant"].on_hand, look(desk)["implant"].used) == (7, 1)


def test_a_later_count_of_the_folder_holds_again(desk: Desk) -> None:
    counts(desk, "implant", Batch(8))
    later = {**SHELF, "counted": "2026-10-06", "pieces": ["5"]}
    commands.configure(desk, {**district(children=2), "supplies": {"implant": later}}, "C")
    shelf = look(desk)["implant"]
    assert (shelf.on_hand, shelf.counted.by) == (5, None)
    assert shelf.other is not None
    assert shelf.other.by == COORDINATOR


def test_a_count_pressed_twice_is_one_and_one_over_anothers_is_not_taken(desk: Desk) -> None:
    first = [count(desk, COORDINATOR, "implant", [Batch(8)], 0, "") for _ in range(2)]
    assert first == [Counting.RECORDED] * 2
    assert count(desk, "A", "implant", [Batch(9)], 0, "") is Counting.COUNTED_SINCE
    assert count(desk, "A", "no-shelf", [Batch(9)], 0, "") is Counting.NO_SHELF
    assert look(desk)["implant"].on_hand == 8


def test_counts_are_proved_from_the_journal(desk: Desk) -> None:
    counts(desk, "implant", Batch(8, date(2028, 1, 1)), on_order=2)
    with desk.glance() as m:
        assert proving.prove_all(m).is_sound
    with desk.moment() as m:
        m.tx.connection().exec_driver_sql("UPDATE supply_counts SET on_order = 3")
    with desk.glance() as m:
        (wrong,) = proving.prove_all(m).wrong
    assert "on_order is 3, the journal says 2" in str(wrong[1])


# How long cells last


def test_a_cell_reported_flat_has_shown_its_life_and_one_changed_early_lasted_longer(desk: Desk) -> None:
    receivers = Receivers()
    for day, words in (
        ("2026-10-05", ("1 battery fixed", "2 ok")),
        ("2026-10-07", ("1 battery fixed early", "2 ok")),
        ("2026-10-12", ("1 dead battery", "1 fixed", "2 ok")),
        ("2026-10-13", ("1 battery fixed", "2 ok")),
    ):
        desk.clock.move_to(at("07:00", day))
        planner.plan_all(desk)
        for minute, text in enumerate(words, start=6):
            play_to(desk, f"08:{minute:02}", receivers, day)
            says(desk, CHECKER, text, f"{day} {text}")
        play_to(desk, "08:20", receivers, day)
    with desk.glance() as m:
        record = record_of(m, "school000", [f"{CHECKER}-child0"], date(2026, 10, 5))
    assert [put.before for put in record.put[Kind.CELL]] == [Cell.UNSAID, Cell.EARLY, Cell.FLAT, Cell.UNSAID]
    shelf = look(desk)["ordinary"]
    assert shelf.lasts is not None
    assert (shelf.used, shelf.lasts.flat, shelf.lasts.seen) == (4, 1, 4)
