"""The school's day as a strip of characters, first to last bell, and a row for each round under it."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from service.core.days import SchoolDay
from service.core.district import District
from service.core.outlook import RoundOutlook, SchoolOutlook
from service.core.unanswered import What
from service.core.zones import zone

LABEL = 20
MARKS = {
    What.PASSED_OVER: "x",
    What.REMINDED: "'",
    What.TOLD: "o",
    What.TOLD_AGAIN: "o",
    What.NOBODY_LEFT: "!",
    What.ASKED: "?",
}
KEY = "? asked   ' reminded   o next one told   x passed over   ! nobody left   | day's end"


class _Scale:
    """Instants to columns. It reaches back to the earliest check, which may be due before the first bell."""

    def __init__(self, first: datetime, last: datetime, columns: int) -> None:
        self.first, self.last, self._columns = first, last, columns
        self._seconds = max(1.0, (last - first).total_seconds())

    def column(self, at: datetime) -> int:
        share = (at - self.first).total_seconds() / self._seconds
        return min(self._columns - 1, max(0, round(share * (self._columns - 1))))


def strip(district: District, each: SchoolOutlook, width: int) -> Iterator[str]:
    """The lines of the strip; none on a day without school."""
    day = each.day
    if not isinstance(day, SchoolDay):
        return
    columns = width - LABEL
    first = min([day.first, *(r.round.due for r in each.rounds)])
    scale = _Scale(first, day.last, columns)
    yield " " * LABEL + _hours(day, scale, columns)
    yield "bells".ljust(LABEL) + _bells(day, scale, columns)
    for r in each.rounds:
        person = district.people.get(r.round.checker)
        wall = f"{r.round.due.astimezone(zone(day.zone)):%H:%M}"
        name = f"{wall} {person.name if person else r.round.checker}"
        yield name[: LABEL - 1].ljust(LABEL) + _row(r, scale, columns)
    if each.rounds:
        yield " " * LABEL + KEY


def _hours(day: SchoolDay, scale: _Scale, columns: int) -> str:
    ruler = [" "] * (columns + 5)
    where = zone(day.zone)
    at = scale.first.replace(minute=0, second=0, microsecond=0)
    while at <= scale.last:
        if at >= scale.first:
            column = scale.column(at)
            text = f"{at.astimezone(where):%H:%M}"
            if all(c == " " for c in ruler[max(0, column - 1) : column + len(text) + 1]):
                ruler[column : column + len(text)] = text
        at += timedelta(hours=1)
    return "".join(ruler).rstrip()


def _bells(day: SchoolDay, scale: _Scale, columns: int) -> str:
    """Each period as a band with as much of its name as fits; a bell alone as a stroke."""
    band = [" "] * columns
    for bell in day.bells:
        start, end = scale.column(bell.start), scale.column(bell.end or bell.start)
        if end - start < 2:
            band[start] = "|"
            continue
        inner = _fitting(bell.name, end - start - 1).center(end - start - 1, "-")
        band[start : end + 1] = f"[{inner}]"
    return "".join(band).rstrip()


def _fitting(name: str, room: int) -> str:
    """The name, else its first letters (`Period 2` as `P2`), else what of it fits."""
    short = "".join(word if word.isdigit() else word[0] for word in name.split())
    return next((n for n in (name, short) if len(n) <= room), name[:room])


def _row(each: RoundOutlook, scale: _Scale, columns: int) -> str:
    row = [" "] * columns
    start = scale.column(each.round.due)
    row[start:] = "." * (columns - start)
    row[-1] = "|"
    for what, mark in MARKS.items():
        for h in each.happenings:
            if h.what is what:
                row[scale.column(h.at)] = mark
    return "".join(row)
