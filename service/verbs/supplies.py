"""`bellcheck supplies`: what is on the shelves, when it runs out, what to order."""

from argparse import ArgumentParser, Namespace
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path

from service.core.supplies.items import Shelf
from service.engine.supplies import Stand, stands
from service.verbs.cells import csv_text
from service.verbs.desks import desk_open
from service.verbs.folders import json_option
from service.verbs.speaking import DONE, CannotRun, Out

COLUMNS = ("school", "shelf", "what", "owner", "order", "on hand", "on order", "may be out from", "likely out by")


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    parser.add_argument("--school", metavar="ID", help="one school")
    parser.add_argument("--order", type=Path, metavar="FILE", help="write what to order as CSV")
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Say how every shelf stands; nothing to order is not a problem."""
    with desk_open(moved_too=True) as desk, desk.glance() as m:
        if args.school and args.school not in m.district.schools:
            there = ", ".join(m.district.schools)
            raise CannotRun(f"--school {args.school}: there is no such school; it would be right as one of: {there}")
        found = stands(m, args.school)
    if args.order:
        _write(args.order, csv_text(COLUMNS, [_row(stand) for stand in found if stand.order.count]))
        out.line(f"wrote {args.order}")
    elif args.json:
        out.json([_as_json(stand) for stand in found])
    else:
        out.lines(_lines(found))
    return DONE


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8", newline="")
    except OSError as error:
        raise CannotRun(f"{path} cannot be written: {error.strerror}; name a place that can be") from None


def _lines(found: Sequence[Stand]) -> Iterator[str]:
    if not found:
        yield "No supplies are configured; write a section supplies: into the folder."
    for stand in found:
        shelf = stand.shelf
        owner = f", {shelf.counted.place.owner}'s own" if shelf.counted.place.owner else ""
        yield f"{shelf.counted.place.school}, {what(shelf)}{owner} ({shelf.id}): {stand.on_hand} on hand"
        yield f"    {_empty(stand)}, by {'the record' if stand.by_record else 'what one is said to last'}"
        if stand.order.count:
            held = f"{stand.order.position} here or coming, to be ordered at {stand.order.point}"
            yield f"    order {stand.order.count}: {held}"
        for batch in stand.expiring:
            if batch.unused:
                yield f"    {batch.unused} of {batch.count} will not be used by {_date(batch.expires)} and go bad"


def _empty(stand: Stand) -> str:
    empty = stand.empty
    if empty.likely is None:
        return "lasts beyond the days known" if empty.early is None else f"may be out from {_date(empty.early)}"
    return f"likely out by {_date(empty.likely)}, may be out from {_date(empty.early or empty.likely)}"


def what(shelf: Shelf) -> str:
    """The supply in words: "cell 13 ordinary"."""
    item = shelf.counted.item
    return " ".join([item.kind.value, item.size, *([item.use.value] if item.use else [])])


def _date(on: date) -> str:
    return f"{on:%A} {on.isoformat()}"


def _row(stand: Stand) -> Sequence[str]:
    place, empty = stand.shelf.counted.place, stand.empty
    dates = (on.isoformat() if on else "" for on in (empty.early, empty.likely))
    numbers = (str(n) for n in (stand.order.count, stand.on_hand, stand.shelf.counted.on_order))
    return (place.school, stand.shelf.id, what(stand.shelf), place.owner or "", *numbers, *dates)


def _as_json(stand: Stand) -> dict[str, object]:
    row = dict(zip(COLUMNS, _row(stand), strict=True))
    expired = [{"after": e.expires.isoformat(), "pieces": e.count, "unused": e.unused} for e in stand.expiring]
    counts = {"order": stand.order.count, "on hand": stand.on_hand, "on order": stand.shelf.counted.on_order}
    return {**row, **counts, "used since counted": stand.used, "by record": stand.by_record, "going bad": expired}
