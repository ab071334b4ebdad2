"""The shelves of the district beside the record: what is left, when it runs out, what to order."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from service.core.days import SchoolDay
from service.core.district import DeviceKind
from service.core.measures.tally import DONE
from service.core.reading import Result
from service.core.supplies.demand import Demand, by_life, demand
from service.core.supplies.expiry import Expiring, expiring
from service.core.supplies.items import Kind, Shelf, left_after, usable
from service.core.supplies.shelf import Empty, Order, Supplying, order, runs_out
from service.engine.desk import Moment
from service.store import history
from service.store.tables import CheckRow

BACK = timedelta(days=180)
"""How far back the record is read for how fast things are used: older habits say little (local choice)."""

AHEAD = 180
"""How many days ahead are looked at."""

CHANGED = {Kind.CELL: "BAT", Kind.CABLE: "CABLE"}
"""By which fault, put right on the spot, the record knows that a new one was put in."""


@dataclass(frozen=True)
class Stand:
    """How a shelf stands: pieces on hand, used since it was counted, `by_record` whether the record says how fast, and
    what follows.
    """

    shelf: Shelf
    on_hand: int
    used: int
    by_record: bool
    empty: Empty
    order: Order
    expiring: tuple[Expiring, ...]


def stands(m: Moment, school: str | None = None) -> tuple[Stand, ...]:
    """All shelves, or those at a school, in the order of the configuration."""
    shelves = m.district.supplies.values()
    return tuple(_stand(m, s) for s in shelves if school in (None, s.counted.place.school))


def _stand(m: Moment, shelf: Shelf) -> Stand:
    place = shelf.counted.place
    today = m.today(place.school)
    rows = history.checks(m.tx, min(today - BACK, shelf.counted.on), today, place.school)
    rows = [row for row in rows if row.student in shelf.students]
    changes = [row.date for row in rows if _changed(shelf, row)]
    used = sum(on >= shelf.counted.on for on in changes)
    pace, known = _pace(m, shelf, rows, sum(on >= today - BACK for on in changes), today - BACK)
    devices = sum(_devices(m, student) for student in shelf.students)
    days = [day for n in range(AHEAD) if isinstance(m.day(place.school, day := today + timedelta(days=n)), SchoolDay)]
    left = left_after(shelf.counted.batches, used)
    on_hand = usable(left, today)
    how = Supplying(lead=shelf.lead, pack=shelf.pack)
    return Stand(
        shelf,
        on_hand,
        used,
        known,
        runs_out(on_hand, pace, devices, days, how.level),
        order(on_hand, shelf.counted.on_order, pace, devices, days, today, how),
        expiring(left, pace, devices, days, today),
    )


def _pace(m: Moment, shelf: Shelf, rows: Sequence[CheckRow], used: int, since: date) -> tuple[Demand, bool]:
    """How fast pieces are used, and whether by the record: the days on which somebody looked are what it knows of."""
    seen = {(row.student, row.date) for row in rows if row.result in DONE and row.date >= since}
    device_days = sum(_devices(m, student) for student, _ in seen)
    printed = by_life(shelf.lasts)
    found = demand(used, device_days, printed)
    return found, found is not printed


def _devices(m: Moment, student: str) -> int:
    held = m.district.students.get(student)
    return sum(d.kind is not DeviceKind.REMOTE_MIC for d in held.devices) if held else 0


def _changed(shelf: Shelf, row: CheckRow) -> bool:
    """Whether a check put a new one in. A side is not told apart: each side's cells are of one size as a rule."""
    code = CHANGED.get(shelf.counted.item.kind)
    return row.result == Result.FIXED and any(fault["code"] == code for fault in row.faults)
