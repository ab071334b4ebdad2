"""Shelves beside the record: what was put in at school is taken off, and a record of enough of it sets the pace."""

from datetime import timedelta
from pathlib import Path

import pytest

from service.engine import commands, planner
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.supplies import Stand, stands
from service.store.base import Store
from tests.engine.engine_district import district
from tests.engine.engine_morning import Receivers, at, open_desk, play_to, says

CHECKER = "school000-room0"
SHELF = {
    "school": "school000", "kind": "cell", "size": "675", "use": "implant", "students": [f"{CHECKER}-child0"],
    "counted": "2026-10-05", "pieces": ["3"], "delivery": "7 days", "lasts": "5 days",
}  # fmt: skip


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    store = Store(f"sqlite:///{tmp_path / 'supplies.db'}")
    store.upgrade()
    made = open_desk(store, SteppedClock(at("07:00")))
    own = {**SHELF, "use": "ordinary", "pieces": ["40"]}
    commands.configure(made, {**district(children=2), "supplies": {"implant": SHELF, "ordinary": own}}, "C")
    planner.plan_all(made)
    return made


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
