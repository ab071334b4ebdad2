"""A shelf of supplies from its document."""

from service.core.supplies.cells import SIZES, life_days
from service.core.supplies.items import Batch, Counted, Item, Kind, Place, Shelf, Use
from service.setup.docs import View
from service.setup.values import read_date

LEAD = "14 days"


def build_shelf(id: str, view: View) -> Shelf:
    """The shelf of a judged document."""
    students = view.texts("students")
    use = view.maybe("use")
    item = Item(Kind(view.text("kind")), view.text("size"), Use(use) if use else None)
    return Shelf(
        id=id,
        counted=Counted(
            Place(view.text("school"), students[0] if view.flag("family") else None),
            item,
            read_date(view.text("counted")),
            tuple(_batch(text) for text in view.texts("pieces")),
            on_order=view.whole("on order", 0),
        ),
        students=students,
        lasts=_lasts(item, view),
        lead=_days(view.text("delivery", LEAD)),
        pack=view.whole("pack", 1),
        level=view.whole("service level", 95) / 100,
        keepers=view.texts("keepers"),
        where=view.maybe("where") or "",
    )


def _batch(text: str) -> Batch:
    count, _, until = text.partition(" until ")
    return Batch(int(count), read_date(until) if until else None)


def _lasts(item: Item, view: View) -> float:
    """Days that one lasts: as written, else by what the cell holds and the device draws."""
    if view.has("lasts"):
        return float(_days(view.text("lasts")))
    return life_days(SIZES[item.size].capacity, float(view.text("draws").removesuffix(" mA")))


def _days(text: str) -> int:
    return int(text.partition(" ")[0])
