"""Which sounds a student is asked about, and in which order they are said on a day."""

from collections.abc import Iterator
from datetime import date, timedelta

from service.core.days import SchoolDay
from service.core.devices import says_sounds
from service.core.sounds import Order, order_after, seed_for, sound_sets
from service.engine.desk import Moment

ASKED = sound_sets()["six"]
"""The sounds that students are asked about."""

LOOK_BACK = 120
"""Days before a check in which the school day before it is sought: longer than any holiday."""


def sounds_asked(kind: str) -> tuple[str, ...]:
    """The sounds of a kind of check, low to high; none where it has no listening part."""
    return ASKED.sounds if says_sounds(kind) else ()


def order_of(m: Moment, student: str, school: str, day: date) -> Order:
    """The lines of a student's listening check on a day, never those of the school day before."""
    return order_after(_seeds(m, student, school, day), ASKED.trials, ASKED.sounds)


def _seeds(m: Moment, student: str, school: str, day: date) -> Iterator[bytes]:
    """The seed of a student's order on `day`, and of the school days before it, as far as a summer reaches back."""
    yield seed_for(student, day, m.desk.key)
    for before in (day - timedelta(days=n) for n in range(1, LOOK_BACK)):
        if isinstance(m.day(school, before), SchoolDay):
            yield seed_for(student, before, m.desk.key)
