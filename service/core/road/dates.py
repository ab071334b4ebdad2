"""When a promised date has passed, and when its holder is reminded."""

from collections.abc import Callable
from datetime import date, timedelta

from service.core.road.joining import REACH
from service.core.road.stand import Stand


def has_passed(now: Stand, today: date) -> bool:
    """Whether the date that was given is behind us: a promise of a date holds until that date is over."""
    return now.is_open and now.promised is not None and now.promised < today


def reminded_on(promised: date, is_school: Callable[[date], bool]) -> date | None:
    """The school day on whose morning a holder is reminded of a promise that has passed: the first after it; None
    where none is known within a year.
    """
    return next((day for n in range(1, REACH) if is_school(day := promised + timedelta(days=n))), None)
