"""Minutes of school that a child was without working technology, counted between bells."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from service.core.days import NoSchool, SchoolDay, school_minutes

Stretch = tuple[datetime, datetime]


@dataclass(frozen=True)
class Broken:
    """A fault from its report until it worked again (None: not yet). On `away` dates the child missed nothing by it;
    in the `meanwhile` stretches the child had some other access (a loaner, notes, a seat in front).
    """

    reported: datetime
    working: datetime | None = None
    away: frozenset[date] = frozenset()
    meanwhile: tuple[Stretch, ...] = ()


@dataclass(frozen=True)
class Lost:
    """School minutes from report to working: `without` any access, and `bridged` by some other one. `open`: the
    fault still stands and the minutes are those so far. What was lost before the report nobody knows.
    """

    without: int
    bridged: int
    open: bool


def lost(broken: Broken, days: Iterable[SchoolDay | NoSchool], now: datetime) -> Lost:
    """The minutes of one fault over the days of the child's school."""
    end = now if broken.working is None else broken.working
    whole = bridged = 0
    for day in days:
        if day.date in broken.away:
            continue
        whole += school_minutes(day, broken.reported, end)
        bridged += sum(
            school_minutes(day, max(start, broken.reported), min(stop, end))
            for start, stop in _joined(broken.meanwhile)
        )
    return Lost(whole - bridged, bridged, broken.working is None)


def _joined(stretches: Sequence[Stretch]) -> list[Stretch]:
    """The same time without overlaps, so that no minute is bridged twice."""
    found: list[Stretch] = []
    for start, stop in sorted(stretches):
        if found and start <= found[-1][1]:
            found[-1] = (found[-1][0], max(stop, found[-1][1]))
        else:
            found.append((start, stop))
    return found
