"""Supplies in words: what lies on a shelf, and the day by which it will be gone."""

from datetime import date

from service.core.supplies.items import Item, Kind, Use
from service.languages import N_, dated, phrase

ITEMS = {
    (Kind.CELL, Use.ORDINARY): N_("size-%(size)s cells"),
    (Kind.CELL, Use.IMPLANT): N_("size-%(size)s implant cells"),
    (Kind.CABLE, None): N_("cables (%(size)s)"),
    (Kind.COIL_COVER, None): N_("coil covers (%(size)s)"),
    (Kind.TUBE, None): N_("tubes (%(size)s)"),
    (Kind.DOME, None): N_("domes (%(size)s)"),
    (Kind.DRYING_CAPSULE, None): N_("drying capsules (%(size)s)"),
}
"""Whole phrases, since an implant's cells must never be taken for ordinary ones."""

WEEK = 7


def item_words(item: Item) -> str:
    """A supply in a sentence: "size-13 cells", "cables (short)"."""
    return phrase(ITEMS[item.kind, item.use], size=item.size)


def day_words(on: date, today: date) -> str:
    """A day to come, with its date: "the end of today", "Thursday (8 October)", "Thursday week (15 October)"."""
    ahead = (on - today).days
    if ahead <= 0:
        return phrase("the end of today")
    if ahead < WEEK:
        return phrase("%(day)s (%(date)s)", day=dated(on, "EEEE"), date=dated(on, N_("d MMMM")))
    if ahead < 2 * WEEK:
        return phrase("%(day)s week (%(date)s)", day=dated(on, "EEEE"), date=dated(on, N_("d MMMM")))
    return dated(on, N_("EEEE d MMMM"))
