"""Rounds and their checks."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from datetime import date, datetime
from functools import cache, partial
from operator import itemgetter
from typing import Any, NamedTuple

from sqlalchemy import Insert, Select, Table, and_, bindparam, exists, literal_column, or_
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from service.store.ahead import Question, forget_all
from service.store.batches import insert_free
from service.store.prepared import prepared
from service.store.tables import CheckRow, RoundRow, table_of

UNASKED: Mapping[str, Mapping[str, str]] = {
    "rounds": {"second": "NULL", "state": "'planned'", "asked_at": "NULL", "body": "'{}'"},
    "checks": {
        "state": "'planned'", "result": "NULL", "result_at": "NULL", "by": "NULL", "faults": "'[]'", "body": "'{}'"
    },
}  # fmt: skip
"""The columns of rounds and checks that are planned and not yet asked, in SQL."""

ROUND: Question[RoundRow] = Question()
CHECK: Question[CheckRow] = Question()
CHECKS_OF: Question[list[CheckRow]] = Question()
ASKED_OF: Question[list[RoundRow]] = Question()


class Place(NamedTuple):
    """Where a check lies: in which round, under which number, and how it stands."""

    round_id: str
    number: int
    state: str


class Seen(NamedTuple):
    """What a board shows of a check."""

    id: str
    round_id: str
    alias: str
    room: str
    state: str
    result: str | None
    result_at: datetime | None


def due(tx: Session, now: datetime, limit: int) -> list[RoundRow]:
    """Planned rounds that are due, earliest first; PostgreSQL locks them and passes over others'."""
    ready = select(RoundRow).where(RoundRow.state == "planned", RoundRow.due <= now)
    first = ready.order_by(col(RoundRow.due), col(RoundRow.id)).limit(limit)
    fresh = first.with_for_update(skip_locked=True, key_share=True).execution_options(populate_existing=True)
    return sorted(tx.exec(fresh), key=lambda row: (row.due, row.id))


def due_beside(tx: Session, people: Collection[str], now: datetime, ids: Collection[str]) -> set[str]:
    """Those of these checkers who have other planned rounds that are due than these."""
    table = table_of(RoundRow)
    ready = and_(table.c.state == "planned", table.c.due <= now, table.c.checker.in_(sorted(people)))
    found = tx.connection().execute(sql_select(table.c.checker, table.c.id).where(ready))
    return {checker for checker, id in found if id not in ids}


def lock_days(tx: Session, days: Iterable[tuple[str, date]]) -> None:
    """Lock the rounds of these (school, date) in the order of their ids."""
    on = or_(*(and_(col(RoundRow.school) == school, col(RoundRow.date) == day) for school, day in days))
    wanted = select(RoundRow.id).where(on).order_by(col(RoundRow.id))
    tx.exec(wanted.with_for_update(key_share=True)).all()


def lock_free_days(tx: Session, days: Iterable[tuple[str, date]]) -> bool:
    """The same, unless somebody holds one of them: then no more than the first few are, and the answer is False."""
    on = or_(*(and_(col(RoundRow.school) == school, col(RoundRow.date) == day) for school, day in days))
    ids = list(tx.exec(select(RoundRow.id).where(on).order_by(col(RoundRow.id))))
    # The first decides by itself: of two who come at once, one gets everything and the other leaves.
    return all(_are_free(tx, some) for some in (ids[:1], ids[1:]))


def _are_free(tx: Session, ids: Collection[str]) -> bool:
    wanted = select(RoundRow.id).where(col(RoundRow.id).in_(ids)).order_by(col(RoundRow.id))
    return len(tx.exec(wanted.with_for_update(skip_locked=True, key_share=True)).all()) == len(ids)


def lock_checks(tx: Session, ids: Iterable[str]) -> None:
    """Lock these checks in the order of their ids."""
    wanted = select(CheckRow.id).where(col(CheckRow.id).in_(sorted(ids))).order_by(col(CheckRow.id))
    tx.exec(wanted.with_for_update(key_share=True)).all()


def lock_free_checks(tx: Session, ids: Iterable[str]) -> set[str]:
    """Lock those of these checks that nobody else holds, and say which."""
    wanted = select(CheckRow.id).where(col(CheckRow.id).in_(sorted(ids))).order_by(col(CheckRow.id))
    return set(tx.exec(wanted.with_for_update(skip_locked=True, key_share=True)))


def check_ids_of_students(tx: Session, students: Iterable[str], day: date) -> list[str]:
    """Ids of the checks of these students on a day, by id."""
    about = select(CheckRow.id).where(col(CheckRow.student).in_(sorted(students)), CheckRow.date == day)
    return list(tx.exec(about.order_by(col(CheckRow.id))))


def checks_in(tx: Session, round_ids: Iterable[str]) -> dict[str, str]:
    """Ids of the checks of these rounds, each with its round's."""
    found = select(CheckRow.id, CheckRow.round_id).where(col(CheckRow.round_id).in_(sorted(round_ids)))
    return dict(tx.exec(found).all())


def check_ids_of_days(tx: Session, days: Iterable[tuple[str, date]]) -> list[str]:
    """Ids of the checks of these (school, date), by id."""
    on = or_(*(and_(col(CheckRow.school) == school, col(CheckRow.date) == day) for school, day in days))
    return list(tx.exec(select(CheckRow.id).where(on).order_by(col(CheckRow.id))))


def next_due(tx: Session) -> datetime | None:
    """When the next planned round is due."""
    planned = select(RoundRow.due).where(RoundRow.state == "planned")
    return tx.exec(planned.order_by(col(RoundRow.due)).limit(1)).first()


def of_day(tx: Session, school: str, date: date) -> list[RoundRow]:
    """All rounds of a school on a date, earliest first."""
    chosen = select(RoundRow).where(RoundRow.school == school, RoundRow.date == date)
    return list(tx.exec(chosen.order_by(col(RoundRow.due), col(RoundRow.id))))


def is_planned(tx: Session, school: str, date: date) -> bool:
    """Whether there is any round or check of a school on a date."""
    tx.flush()
    found = tx.connection().execute(_any_of_day(), {"of": school, "on": date}).scalar_one()
    return bool(found)


@cache
def _any_of_day() -> Select[tuple[bool]]:
    any_of = (
        exists().where(t.c.school == bindparam("of"), t.c.date == bindparam("on"))
        for t in (table_of(RoundRow), table_of(CheckRow))
    )
    return sql_select(or_(*any_of))


def insert_many(
    tx: Session, rounds: Iterable[Mapping[str, Any]], checks: Iterable[Mapping[str, Any]]
) -> tuple[int, int]:
    """Write rounds and checks given as column values; those whose id is there already stay as they are. Columns
    that are not given are as of a round or check that is planned and not yet asked. Says how many of each were new.
    """
    forget_all(tx)
    tx.flush()
    return _insert(tx, table_of(RoundRow), rounds), _insert(tx, table_of(CheckRow), checks)


def _insert(tx: Session, table: Table, rows: Iterable[Mapping[str, Any]]) -> int:
    alike: dict[tuple[str, ...], list[Mapping[str, Any]]] = {}
    for row in rows:
        alike.setdefault(tuple(row), []).append(row)
    connection, new = tx.connection(), 0
    for columns, group in sorted(alike.items(), key=itemgetter(0)):
        make = partial(_statement, connection.dialect.name, table, columns)
        planned = prepared(connection, "plan", table, columns, make)
        new += planned.execute(connection, sorted(group, key=itemgetter("id")))
    return new


def _statement(dialect: str, table: Table, columns: tuple[str, ...]) -> Insert:
    """What all rows have alike is said once in the statement, which is half the work of a large plan."""
    unasked = UNASKED[table.name].items()
    rest: dict[str, Any] = {name: literal_column(value) for name, value in unasked if name not in columns}
    return insert_free(dialect, table).values(rest)


def is_under_way(tx: Session, school: str, on: date, results: Collection[str]) -> bool:
    """Whether any check of a school's day is asked, or has one of these results."""
    chosen = select(CheckRow.id).where(CheckRow.school == school, CheckRow.date == on)
    alive = or_(col(CheckRow.state) == "asked", col(CheckRow.result).in_(results))
    return tx.exec(chosen.where(alive).limit(1)).first() is not None


def get(tx: Session, id: str) -> RoundRow | None:
    """One round as it stands in the database now."""
    return ROUND.known(tx, id) or by_id(tx, [id]).get(id)


def by_id(tx: Session, ids: Iterable[str]) -> dict[str, RoundRow]:
    """These rounds as they stand in the database now."""
    chosen = select(RoundRow).where(col(RoundRow.id).in_(sorted(ids)))
    return {row.id: row for row in tx.exec(chosen.execution_options(populate_existing=True))}


def checks_of(tx: Session, round_id: str) -> list[CheckRow]:
    """The checks of a round by their numbers."""
    known = CHECKS_OF.known(tx, round_id)
    return checks_of_rounds(tx, [round_id]).get(round_id, []) if known is None else list(known)


def checks_of_rounds(tx: Session, ids: Iterable[str]) -> dict[str, list[CheckRow]]:
    """The checks of these rounds by their numbers; no key for a round without any."""
    chosen = select(CheckRow).where(col(CheckRow.round_id).in_(sorted(ids)))
    found: defaultdict[str, list[CheckRow]] = defaultdict(list)
    for row in tx.exec(chosen.order_by(col(CheckRow.number), col(CheckRow.id))):
        found[row.round_id].append(row)
    return found


def check(tx: Session, id: str) -> CheckRow | None:
    """One check as it stands in the database now."""
    return CHECK.known(tx, id) or checks_by_id(tx, [id]).get(id)


def checks_by_id(tx: Session, ids: Iterable[str]) -> dict[str, CheckRow]:
    """These checks as they stand in the database now."""
    chosen = select(CheckRow).where(col(CheckRow.id).in_(sorted(ids)))
    return {row.id: row for row in tx.exec(chosen.execution_options(populate_existing=True))}


def open_checks(tx: Session, school: str, date: date) -> list[CheckRow]:
    """The checks of a school and date that have not ended, by round and number."""
    chosen = select(CheckRow).where(CheckRow.school == school, CheckRow.date == date)
    not_ended = chosen.where(CheckRow.state != "closed")
    return list(tx.exec(not_ended.order_by(col(CheckRow.round_id), col(CheckRow.number), col(CheckRow.id))))


def student_checks(tx: Session, student: str, first: date, last: date) -> list[CheckRow]:
    """A student's checks from `first` to `last`, both included, by date."""
    chosen = select(CheckRow).where(
        CheckRow.student == student, CheckRow.date >= first, CheckRow.date <= last
    )
    return list(tx.exec(chosen.order_by(col(CheckRow.date), col(CheckRow.id))))


def planned_until(tx: Session, until: datetime) -> list[RoundRow]:
    """Rounds that were not asked though they were due by then, earliest first."""
    chosen = select(RoundRow).where(RoundRow.state == "planned", RoundRow.due <= until)
    return list(tx.exec(chosen.order_by(col(RoundRow.due), col(RoundRow.id))))


def asked_and_open(tx: Session) -> list[CheckRow]:
    """Checks of any day that were asked and have no result, by id; looks at every check."""
    return list(tx.exec(select(CheckRow).where(CheckRow.state == "asked").order_by(col(CheckRow.id))))


def asked_of(tx: Session, person: str, since: datetime) -> list[RoundRow]:
    """The rounds asked of a checker or second since an instant, earliest first."""
    known = ASKED_OF.known(tx, (person, since))
    return asked_of_all(tx, [person], since)[person] if known is None else list(known)


def asked_of_all(tx: Session, people: Collection[str], since: datetime) -> dict[str, list[RoundRow]]:
    """The same for several people."""
    named = sorted(people)
    chosen = select(RoundRow).where(
        or_(col(RoundRow.checker).in_(named), col(RoundRow.second).in_(named)),
        col(RoundRow.state) == "asked",
        col(RoundRow.asked_at) >= since,
    )
    found: dict[str, list[RoundRow]] = {person: [] for person in named}
    for row in tx.exec(chosen.order_by(col(RoundRow.due), col(RoundRow.id))):
        for person in {row.checker, row.second} & found.keys():
            found[person or ""].append(row)
    return found


def read_ahead(tx: Session, people: Collection[str], since: datetime) -> list[RoundRow]:
    """Read what was asked of these people since an instant, and say it."""
    asked = asked_of_all(tx, people, since)
    ASKED_OF.tell(tx, {(person, since): rows for person, rows in asked.items()})
    return [row for rows in asked.values() for row in rows]


def read_ahead_with_checks(tx: Session, ids: Collection[str], checks: Collection[str]) -> list[CheckRow]:
    """Read these rounds with their checks, and `checks` besides; says all the checks."""
    held = checks_by_id(tx, checks)
    empty: dict[str, list[CheckRow]] = {id: [] for id in ids}
    of_rounds = empty | checks_of_rounds(tx, ids)
    ROUND.tell(tx, by_id(tx, {*ids, *(row.round_id for row in held.values())}))
    CHECKS_OF.tell(tx, of_rounds)
    held |= {row.id: row for rows in of_rounds.values() for row in rows}
    CHECK.tell(tx, held)
    return list(held.values())


def around(tx: Session, person: str, first: datetime, last: datetime) -> list[RoundRow]:
    """The rounds due from `first` to `last` in which a person is checker or second, earliest first."""
    chosen = select(RoundRow).where(
        or_(col(RoundRow.checker) == person, col(RoundRow.second) == person),
        col(RoundRow.state) != "dropped",
        col(RoundRow.due) >= first,
        col(RoundRow.due) <= last,
    )
    return list(tx.exec(chosen.order_by(col(RoundRow.due), col(RoundRow.id))))


def places_of_day(tx: Session, school: str, date: date) -> dict[str, Place]:
    """Where all checks of a school on a date lie, by their ids, in order of these."""
    chosen = select(CheckRow.id, CheckRow.round_id, CheckRow.number, CheckRow.state)
    found = chosen.where(CheckRow.school == school, CheckRow.date == date).order_by(col(CheckRow.id))
    return {id: Place(round_id, number, state) for id, round_id, number, state in tx.exec(found)}


def checks_of_day(tx: Session, school: str, date: date) -> list[CheckRow]:
    """All checks of a school on a date, by round and number."""
    chosen = select(CheckRow).where(CheckRow.school == school, CheckRow.date == date)
    return list(tx.exec(chosen.order_by(col(CheckRow.round_id), col(CheckRow.number), col(CheckRow.id))))


def seen_of_day(tx: Session, school: str, date: date) -> list[Seen]:
    """The same as a board shows them: a district's board shows thousands."""
    tx.flush()
    table = table_of(CheckRow)
    chosen = sql_select(*(table.c[name] for name in Seen._fields))
    mine = chosen.where(table.c.school == school, table.c.date == date)
    found = tx.connection().execute(mine.order_by(table.c.round_id, table.c.number, table.c.id))
    return [Seen(*row) for row in found]


def places(tx: Session, ids: Collection[str]) -> dict[str, tuple[str, date]]:
    """School and date of each of these rounds."""
    found = select(RoundRow.id, RoundRow.school, col(RoundRow.date)).where(col(RoundRow.id).in_(sorted(ids)))
    return {id: (school, on) for id, school, on in tx.exec(found)}
