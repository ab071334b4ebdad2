"""Whether a report is of a fault that is open already, and whether a fault comes again too soon."""

from collections.abc import Callable, Iterable
from datetime import date, datetime, timedelta

from service.core.district import Side
from service.core.road.stand import Stand, stand
from service.core.road.values import Fault, Stage

AGAIN_WITHIN = 20
"""School days within which the same fault again is worth a word (local policy, no source): four weeks of school."""

REACH = 400
"""Days of the calendar looked through at most for so many school days."""


def joined(open_faults: Iterable[Fault], code: str, side: Side | None) -> Fault | None:
    """The open fault that a report joins: of the same code, on the same side or on one that nobody named; the
    oldest.
    """
    alike = (f for f in open_faults if f.code == code and (side is None or stand(f).side in (None, side)))
    return min((f for f in alike if stand(f).is_open), key=lambda f: (stand(f).reported, f.id), default=None)


def came_again(
    before: Iterable[Fault],
    code: str,
    side: Side | None,
    opened: date,
    is_school: Callable[[date], bool],
    date_of: Callable[[datetime], date],
) -> Fault | None:
    """The latest fault of the same code and side that worked again within 20 school days before `opened`. `date_of`
    is the school's date of an instant.
    """
    ended = [(now.over, f) for f in before if f.code == code and _worked(now := stand(f), side) and now.over]
    over, last = max(ended, key=lambda held: (held[0], held[1].id), default=(None, None))
    if over is None or school_days(date_of(over), opened, is_school) is None:
        return None
    return last


def _worked(now: Stand, side: Side | None) -> bool:
    return now.stage is Stage.WORKING and (side is None or now.side in (None, side))


def school_days(
    first: date, last: date, is_school: Callable[[date], bool], at_most: int = AGAIN_WITHIN
) -> int | None:
    """How many days with school there are after `first`, up to and with `last`; None where there are more than
    `at_most`, or the dates are more than a year apart.
    """
    if (last - first).days > REACH:
        return None
    count, day = 0, first
    while day < last:
        day += timedelta(days=1)
        count += is_school(day)
        if count > at_most:
            return None
    return count
