"""Listening checks for tests: school days are numbered, answers are written as the sounds that were missed."""

from datetime import date, timedelta

from service.core.district import Side
from service.core.listening.answers import Listening, Response
from service.core.sounds import SIX

FIRST = date(2026, 9, 7)


def day(n: int) -> date:
    """The n-th school day: five a week."""
    return FIRST + timedelta(days=n // 5 * 7 + n % 5)


def check(
    n: int,
    missed: str = "",
    side: Side | None = None,
    heard: Response = Response.DETECTED,
    silences: int = 2,
    false: int = 0,
    faulty: bool = False,
) -> Listening:
    """The check of the n-th school day in which the sounds in `missed` were missed, the others `heard`."""
    gone = missed.split()
    answers = {sound: Response.MISSED if sound in gone else heard for sound in SIX}
    return Listening(day(n), side, answers, silences, false, faulty)
