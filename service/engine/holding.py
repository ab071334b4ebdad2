"""Takes a step's locks beforehand, in the one order in which every step takes them.

The order is: received message, round, check, chase, mark, person, outbox, journal stream; within one kind, that of
the ids. A chase begins only under the lock of its check, so whoever holds the checks knows all chases about them.
What is locked here is read afresh afterwards: two instances wait for each other in a line, never in a circle. On
SQLite the write transaction is the lock.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import date

from service.engine.desk import Moment
from service.store import chases, rounds
from service.store.ahead import look_again
from service.store.tables import RoundRow


def days(m: Moment, held: Collection[tuple[str, date]]) -> None:
    """Everything of these (school, date): rounds, checks, and the schools' open chases with their checks."""
    if not held or not is_needed(m):
        return
    rounds.lock_days(m.tx, held)
    _rest_of(m, held)


def free_days(m: Moment, held: Collection[tuple[str, date]]) -> bool:
    """The same, unless another instance is at one of them: then they are left to that one, and the answer is False.
    Who holds a single check is waited for.
    """
    if is_needed(m):
        if not rounds.lock_free_days(m.tx, held):
            return False
        _rest_of(m, held)
    return True


def _rest_of(m: Moment, held: Collection[tuple[str, date]]) -> None:
    """What comes after the rounds of these days."""
    schools = {school for school, _ in held}
    own = rounds.check_ids_of_days(m.tx, held)
    rounds.lock_checks(m.tx, {*own, *chases.checks_of(m.tx, chases.open_ids_of(m.tx, schools=schools))})
    chases.lock_all(m.tx, chases.open_ids_of(m.tx, schools=schools))
    look_again(m.tx)


def some(m: Moment, ids: Iterable[str]) -> None:
    """Chases by their ids, with their checks."""
    if is_needed(m):
        wanted = set(ids)
        rounds.lock_checks(m.tx, chases.checks_of(m.tx, wanted))
        chases.lock_all(m.tx, wanted)
        look_again(m.tx)


def about(
    m: Moment, ids: Iterable[str], checks: Iterable[str], students: Mapping[date, Collection[str]], *, waits: bool
) -> bool:
    """All that words about these students, on the day that each is named under, may touch: their checks, chases
    about them, and `ids`. False where somebody else holds any of it and this does not wait for them.
    """
    if not is_needed(m):
        return True
    everybody = {student for named in students.values() for student in named}
    named = set(checks)
    for day, present in students.items():
        named |= set(rounds.check_ids_of_students(m.tx, present, day))
    known = {*ids, *chases.open_ids_of(m.tx, checks=named, students=everybody)}
    named |= chases.checks_of(m.tx, known)
    if waits:
        rounds.lock_checks(m.tx, named)
    elif named - rounds.lock_free_checks(m.tx, named):
        return False
    known |= set(chases.open_ids_of(m.tx, checks=named, students=everybody))
    if waits:
        chases.lock_all(m.tx, known)
    elif known - chases.lock_free(m.tx, known):
        return False
    look_again(m.tx)
    return True


def free(m: Moment, ids: Collection[str]) -> list[str]:
    """Those of these chases whose checks nobody else holds, locked with them; the others are left to whoever
    is at them.
    """
    if not is_needed(m):
        return list(ids)
    mine = rounds.lock_free_checks(m.tx, chases.checks_of(m.tx, ids))
    held = chases.with_checks(m.tx, ids, mine)
    chases.lock_all(m.tx, held)
    look_again(m.tx)
    return [id for id in ids if id in held]


def all_but_held(m: Moment, ids: Collection[str]) -> set[str]:
    """Lock those of these chases whose checks nobody else holds, with them; says which ones others hold."""
    if not is_needed(m):
        return set()
    checks = chases.checks_of(m.tx, ids)
    others = chases.about(m.tx, ids, checks - rounds.lock_free_checks(m.tx, checks))
    chases.lock_all(m.tx, set(ids) - others)
    look_again(m.tx)
    return others


def asked(m: Moment, due: Sequence[RoundRow], *, waits: bool) -> list[RoundRow]:
    """The checks of rounds that are locked already. Says the rounds of which nobody else holds a check, and leaves
    the others for later; where it `waits`, all.
    """
    if not is_needed(m):
        return list(due)
    places = rounds.checks_in(m.tx, [row.id for row in due])
    if waits:
        rounds.lock_checks(m.tx, places)
        return list(due)
    others = {places[check] for check in places.keys() - rounds.lock_free_checks(m.tx, places)}
    return [row for row in due if row.id not in others]


def is_needed(m: Moment) -> bool:
    """Whether others may be writing at the same time."""
    return m.desk.store.dialect != "sqlite"
