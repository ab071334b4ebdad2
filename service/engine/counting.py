"""Somebody counts a shelf: what lay there, how many are on order, when; in the journal, and replayed from it."""

import hashlib
from collections.abc import Sequence
from enum import StrEnum

from service.core.supplies.items import Batch
from service.engine.desk import Desk, stream_of
from service.store import supplies
from service.store.tables import SupplyCount


class Counting(StrEnum):
    """What came of a count: recorded (once, however often it comes), or not, because somebody else has counted the
    shelf since the page was shown, or because there is no such shelf.
    """

    RECORDED = "counted"
    COUNTED_SINCE = "counted since"
    NO_SHELF = "no shelf"


def count(desk: Desk, person: str, shelf: str, pieces: Sequence[Batch], on_order: int, seen: str) -> Counting:
    """Record what `person` counted on a shelf. `seen` is the id of the count that they were shown; "" for none."""
    lots = [{"count": b.count, "until": b.expires.isoformat() if b.expires else None} for b in pieces]
    made = hashlib.sha256(repr((shelf, seen, person, lots, on_order)).encode()).hexdigest()[:12]
    with desk.moment() as m:
        held = m.district.supplies.get(shelf)
        if held is None:
            return Counting.NO_SHELF
        last = supplies.latest(m.tx, [shelf]).get(shelf)
        if last is not None and last.id == f"cn-{made}":
            return Counting.RECORDED
        if (last.id if last else "") != seen:
            return Counting.COUNTED_SINCE
        row = SupplyCount(id=f"cn-{made}", shelf=shelf, at=m.now, by=person, pieces=lots, on_order=on_order)
        if supplies.add(m.tx, row):
            school = held.counted.place.school
            m.note(
                stream_of(school, m.today(school)), "counted", row.id, [], person,
                shelf=shelf, pieces=lots, on_order=on_order,
            )  # fmt: skip
    return Counting.RECORDED
