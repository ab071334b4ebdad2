"""What to order, as a sheet that a spreadsheet opens safely."""

from collections.abc import Iterable, Sequence

from service.core.supplies.items import Shelf
from service.engine.supplies import Stand
from service.wording.cells import csv_text

COLUMNS = ("school", "shelf", "what", "owner", "order", "on hand", "on order", "may be out from", "likely out by")


def order_list(found: Iterable[Stand]) -> str:
    """The shelves of which something is to be ordered, as CSV."""
    return csv_text(COLUMNS, [row_of(stand) for stand in found if stand.order.count])


def row_of(stand: Stand) -> Sequence[str]:
    """A shelf by the columns; a date that is not known is empty."""
    place, empty = stand.shelf.counted.place, stand.empty
    dates = (on.isoformat() if on else "" for on in (empty.early, empty.likely))
    numbers = (str(n) for n in (stand.order.count, stand.on_hand, stand.counted.on_order))
    return (place.school, stand.shelf.id, what(stand.shelf), place.owner or "", *numbers, *dates)


def what(shelf: Shelf) -> str:
    """The supply for programs and operators: "cell 13 ordinary"."""
    item = shelf.counted.item
    return " ".join([item.kind.value, item.size, *([item.use.value] if item.use else [])])
