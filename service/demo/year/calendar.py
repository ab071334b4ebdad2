"""The dates of an invented school year: terms, closures, a snow week (common practice, no source)."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

DAY = timedelta(days=1)
FIRST_MONTH = 7
"""From this month on a school year counts as the one that begins in that calendar year."""


@dataclass(frozen=True)
class Calendar:
    """A school year by its dates. `closures` are known beforehand; on the `snow` dates schools close that morning,
    and on `thaw` they begin two hours late.
    """

    terms: tuple[tuple[str, date, date], ...]
    closures: tuple[tuple[str, date, date], ...]
    snow: tuple[date, ...]
    thaw: date

    @property
    def first(self) -> date:
        """The first day of school."""
        return self.terms[0][1]

    @property
    def last(self) -> date:
        """The last day of school."""
        return self.terms[-1][2]

    def days(self) -> Iterator[date]:
        """The school days, in order, the snow days left out."""
        for _, first, last in self.terms:
            day = first
            while day <= last:
                if self.is_open(day):
                    yield day
                day += DAY

    def is_open(self, day: date) -> bool:
        """Whether there is school on a weekday of a term."""
        closed = any(first <= day <= last for _, first, last in self.closures)
        return day.weekday() < 5 and not closed and day not in self.snow


def calendar(autumn: int) -> Calendar:
    """The school year that begins in the autumn of a calendar year."""
    spring = autumn + 1
    start = _weekday_from(date(autumn, 8, 22), 0)
    thanks = _weekday_from(date(autumn, 11, 22), 3)
    snow = _weekday_from(date(spring, 1, 22), 0)
    return Calendar(
        terms=(
            ("Autumn", start, _weekday_from(date(autumn, 12, 15), 4)),
            ("Spring", _weekday_from(date(spring, 1, 4), 1), _weekday_from(date(spring, 5, 25), 4)),
        ),
        closures=(
            ("Early September holiday", *2 * (_weekday_from(date(autumn, 9, 1), 0),)),
            ("Staff day", *2 * (_weekday_from(date(autumn, 10, 8), 0),)),
            ("Harvest break", thanks, thanks + DAY),
            ("Staff day in February", *2 * (_weekday_from(date(spring, 2, 15), 0),)),
            ("Spring break", (march := _weekday_from(date(spring, 3, 14), 0)), march + 4 * DAY),
            ("Late May holiday", *2 * (_weekday_from(date(spring, 5, 25), 0),)),
        ),
        snow=(snow, snow + DAY, snow + 2 * DAY),
        thaw=snow + 3 * DAY,
    )


def _weekday_from(day: date, weekday: int) -> date:
    """The first date from `day` on that is this weekday (0: Monday)."""
    return day + ((weekday - day.weekday()) % 7) * DAY


def last_over(today: date) -> int:
    """The autumn of the latest school year that is over on a date."""
    autumn = today.year if today.month >= FIRST_MONTH else today.year - 1
    return autumn if calendar(autumn).last < today else autumn - 1
