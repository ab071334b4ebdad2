"""Takes a step's locks beforehand, in the one order in which every step takes them.

The order is: received message, round, chase, check, mark, person, outbox, journal stream. Within one kind it is
that of the ids. A step that knows what it will touch locks all of it here and then reads it afresh, so that two
instances wait for each other in a line and never in a circle. On SQLite the write transaction is the lock.
"""

from collections.abc import Collection, Iterable
from datetime import date

from service.engine.desk import Moment
from service.store import chases, rounds


def days(m: Moment, held: Collection[tuple[str, date]]) -> None:
    """Everything of these (school, date): rounds, the schools' open chases, checks."""
    if not held or not is_needed(m):
        return
    rounds.lock_days(m.tx, held)
    wanted = rounds.check_ids_of_days(m.tx, held)
    chases.lock_all(m.tx, chases.open_ids_of(m.tx, {school for school, _ in held}, (), ()))
    rounds.lock_checks(m.tx, wanted)
    m.tx.expire_all()


def some(m: Moment, ids: Iterable[str], checks: Iterable[str] = (), students: Iterable[str] = ()) -> None:
    """Chases by their ids, with those that run about these checks and students, then all their checks."""
    if not is_needed(m):
        return
    named, about = set(checks), set(students)
    wanted = set(ids)
    if named or about:
        wanted |= set(chases.open_ids_of(m.tx, (), named, about))
    chases.lock_all(m.tx, wanted)
    rounds.lock_checks(m.tx, named | chases.checks_of(m.tx, wanted))
    m.tx.expire_all()


def asked(m: Moment, round_ids: Iterable[str]) -> None:
    """The checks of rounds that are locked already."""
    if is_needed(m):
        rounds.lock_checks(m.tx, rounds.check_ids(m.tx, round_ids))


def is_needed(m: Moment) -> bool:
    """Whether others may be writing at the same time."""
    return m.desk.store.dialect != "sqlite"
