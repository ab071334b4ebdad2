"""`bellcheck supplies`: what is on the shelves, when it runs out, what to order."""

from argparse import ArgumentParser, Namespace
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import date
from pathlib import Path

from service.core.supplies.life import Life
from service.engine.order_list import COLUMNS, order_list, row_of, what
from service.engine.supplies import Stand, stands
from service.verbs.desks import desk_open
from service.verbs.folders import json_option
from service.verbs.speaking import DONE, CannotRun, Out


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
        _write(args.order, order_list(found))
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
        yield f"    {_count(stand)}"
        yield f"    {_empty(stand)}, by {'the record' if stand.by_record else 'what one is said to last'}"
        if stand.lasts:
            yield f"    {_life(stand.lasts)}"
        ahead = stand.ahead
        yield f"    used until a delivery comes: {ahead.expected:.1f} ({ahead.low} to {ahead.high} in 95 of 100 cases)"
        if stand.order.count:
            held = f"{stand.order.position} here or coming, to be ordered at {stand.order.point}"
            yield f"    order {stand.order.count}: {held}"
        for batch in stand.expiring:
            if batch.unused:
                yield f"    {batch.unused} of {batch.count} will not be used by {_date(batch.expires)} and go bad"


def _count(stand: Stand) -> str:
    """Which count holds: of two the later one."""
    counted = stand.counted
    by = f"by {counted.by} on the page" if counted.by else "by the folder"
    other = stand.other
    where = "page" if other and other.by else "folder"
    beside = f" (that of the {where}, {other.on.isoformat()}, is older)" if other else ""
    return f"counted {counted.on.isoformat()} {by}{beside}, {stand.used} used since"


def _life(life: Life) -> str:
    """How long a cell lasts, of how many seen to run flat, in days of the calendar."""
    seen = f"{life.flat} of {life.seen} cells in the record were seen to run flat"
    days = life.days
    if not life.from_record or days.value is None:
        return f"one lasts up to {days.value:.0f} days by what is written about it; {seen}, too few to say"
    low = "?" if days.low is None else f"{days.low:.0f}"
    high = "more" if days.high is None else f"{days.high:.0f}"
    return f"half last {days.value:.0f} days or longer ({low} to {high}); {seen}, the others lasted longer"


def _empty(stand: Stand) -> str:
    empty = stand.empty
    if empty.likely is None:
        return "lasts beyond the days known" if empty.early is None else f"may be out from {_date(empty.early)}"
    return f"likely out by {_date(empty.likely)}, may be out from {_date(empty.early or empty.likely)}"


def _date(on: date) -> str:
    return f"{on:%A} {on.isoformat()}"


def _as_json(stand: Stand) -> dict[str, object]:
    row = dict(zip(COLUMNS, row_of(stand), strict=True))
    expired = [{"after": e.expires.isoformat(), "pieces": e.count, "unused": e.unused} for e in stand.expiring]
    counts = {"order": stand.order.count, "on hand": stand.on_hand, "on order": stand.counted.on_order}
    counted = {"counted": stand.counted.on.isoformat(), "counted by": stand.counted.by}
    used = {"used since counted": stand.used, "by record": stand.by_record, "reorder point": stand.order.point}
    ahead = {"used until a delivery": asdict(stand.ahead)}
    life = {"life": stand.lasts and asdict(stand.lasts)}
    return {**row, **counts, **counted, **used, **ahead, **life, "going bad": expired}
