"""The shelves of the district beside the record: what is left, when it runs out, what to order."""

from bisect import bisect_left
from dataclasses import dataclass, replace
from datetime import date

from service.core.district import DeviceKind
from service.core.supplies.changes import Put
from service.core.supplies.demand import Demand, Forecast, by_life, demand, forecast, worn
from service.core.supplies.expiry import Expiring, expiring
from service.core.supplies.items import Batch, Counted, Kind, Shelf, good_until, latest, left_after, usable
from service.core.supplies.life import Change, Life, life, lifetimes
from service.core.supplies.shelf import Empty, Order, Supplying, days_to_cover, order, runs_out
from service.core.supplies.told import Cell
from service.engine.desk import Moment
from service.engine.shelf_record import BACK, ShelfRecord, record_of
from service.store import supplies
from service.store.tables import SupplyCount


@dataclass(frozen=True)
class Stand:
    """How a shelf stands: the count it goes by (`other`: an older one, of the page or of the folder), what is `left` of
    it, pieces on hand that are good, used since, `by_record` whether the record says how fast, and what follows.
    `ahead` is what will be used until a delivery ordered at the next look comes; `lasts` how long a cell lasts (None:
    it is no cell).
    """

    shelf: Shelf
    counted: Counted
    other: Counted | None
    left: tuple[Batch, ...]
    on_hand: int
    used: int
    by_record: bool
    ahead: Forecast
    lasts: Life | None
    empty: Empty
    order: Order
    expiring: tuple[Expiring, ...]


def shelves_of(m: Moment, school: str) -> tuple[Shelf, ...]:
    """The shelves that lie at a school, in the order of the configuration."""
    return tuple(s for s in m.district.supplies.values() if s.counted.place.school == school)


def stands(m: Moment, school: str | None = None) -> tuple[Stand, ...]:
    """All shelves, or those at a school: school by school, in the order of the configuration."""
    schools = dict.fromkeys(s.counted.place.school for s in m.district.supplies.values())
    return tuple(s for each in schools if school in (None, each) for s in _stands_at(m, each))


def _stands_at(m: Moment, school: str) -> list[Stand]:
    held = shelves_of(m, school)
    pages = {id: _counted(m, id, row) for id, row in supplies.latest(m.tx, [shelf.id for shelf in held]).items()}
    counts = {s.id: latest(s.counted, pages.get(s.id, s.counted)) for s in held}
    students = {student for shelf in held for student in shelf.students}
    record = record_of(m, school, students, min((c.on for c in counts.values()), default=m.today(school)))
    return [_stand(m, shelf, counts[shelf.id], pages.get(shelf.id), record) for shelf in held]


def _counted(m: Moment, shelf: str, row: SupplyCount) -> Counted:
    """What was counted on the page."""
    folder = m.district.supplies[shelf].counted
    batches = tuple(
        Batch(lot["count"], date.fromisoformat(lot["until"]) if lot["until"] else None) for lot in row.pieces
    )
    on = m.today_at(folder.place.school, row.at)
    return replace(folder, on=on, batches=batches, on_order=row.on_order, at=row.at, by=row.by)


def _stand(m: Moment, shelf: Shelf, counted: Counted, page: Counted | None, record: ShelfRecord) -> Stand:
    today, days = record.today, record.coming
    put = [one for one in record.put.get(counted.item.kind, ()) if one.student in shelf.students]
    taken = [one for one in put if one.before is not Cell.THE_SAME]
    used = sum(counted.is_before(one.at, one.on) for one in taken)
    pace, by_record = _pace(m, shelf, record, sum(one.on >= today - BACK for one in taken))
    devices = sum(_devices(m, student) for student in shelf.students)
    left = left_after(counted.batches, used)
    on_hand = usable(left, today)
    how = Supplying(lead=shelf.lead, pack=shelf.pack, level=shelf.level)
    wasted = expiring(left, pace, devices, days, today)
    cover = days_to_cover(days, today, how.lead + how.review)
    return Stand(
        shelf,
        counted,
        page if page != counted else shelf.counted if page else None,
        left,
        on_hand,
        used,
        by_record,
        forecast(pace, devices * cover),
        _lasts(shelf, put, record) if counted.item.kind is Kind.CELL else None,
        runs_out(on_hand - sum(e.unused for e in wasted), pace, devices, days, how.level, good_until(left)),
        order(on_hand - _lost_before(wasted, days, cover), counted.on_order, pace, devices, days, today, how),
        wasted,
    )


def _lost_before(wasted: tuple[Expiring, ...], days: list[date], cover: int) -> int:
    """Pieces that will have gone bad, unused, on the last of the days that the shelf must cover."""
    return sum(e.unused for e in wasted if cover and e.expires < days[cover - 1])


def _pace(m: Moment, shelf: Shelf, record: ShelfRecord, used: int) -> tuple[Demand, bool]:
    """How fast pieces are used, and whether by the record."""
    device_days = 0.0
    for student in shelf.students:
        looked = record.looked.get(student)
        if looked is not None:
            days = len(record.past) - bisect_left(record.past, looked.since)
            device_days += worn(_devices(m, student), days, looked.days, looked.expected)
    printed = by_life(shelf.lasts)
    found = demand(used, device_days, printed)
    return found, found is not printed


def _lasts(shelf: Shelf, put: list[Put], record: ShelfRecord) -> Life:
    """How long a cell lasts, by those put in where it was said whether the one before had run down."""
    changes = [
        Change(one.student, one.side or "", one.on, one.before is Cell.FLAT)
        for one in put
        if one.before is not Cell.THE_SAME
    ]
    return life(lifetimes(changes, record.today), shelf.lasts)


def _devices(m: Moment, student: str) -> int:
    held = m.district.students.get(student)
    return sum(d.kind is not DeviceKind.REMOTE_MIC for d in held.devices) if held else 0
