"""Planning a day for a large district beside bare inserts of the same rows, and what it costs to wait for it."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from itertools import groupby
from operator import itemgetter
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from sqlalchemy import insert, select

from service.engine import planner, running
from service.engine.clock import SteppedClock
from service.engine.desk import Desk, bind
from service.setup import build
from service.store.base import Store
from service.store.tables import CheckRow, RoundRow, table_of
from tests.bench.figures import Figure, beside
from tests.engine.engine_district import district
from tests.engine.engine_morning import at, open_desk

SCHOOLS, ROOMS, CHILDREN = 400, 25, 10
DAY = date(2026, 10, 5)
MINUTE = 12
"""Looks in a minute: one each five seconds."""


@contextmanager
def fresh() -> Iterator[Store]:
    with TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{Path(folder) / 'bench.db'}")
        store.upgrade()
        yield store
        store.close()


def desk_over(store: Store, schools: int) -> Desk:
    """A desk with a district of that size in force, without the time it takes to apply it."""
    desk = open_desk(store, SteppedClock(at("07:00")))
    desk._book = bind(build(district(schools, ROOMS, CHILDREN)), 0)
    return desk


def rows_of(store: Store) -> list[tuple[list[dict[str, Any]], list[dict[str, Any]]]]:
    """The planned rounds and checks as plain values, one pair per school."""
    pairs = []
    with store.reading() as tx:
        for table in (table_of(RoundRow), table_of(CheckRow)):
            found = tx.connection().execute(select(table).order_by(table.c.school))
            rows = [dict(row) for row in found.mappings()]
            pairs.append({s: list(held) for s, held in groupby(rows, itemgetter("school"))})
    return [(pairs[0][school], pairs[1][school]) for school in pairs[0]]


def bare(rows: list[tuple[list[dict[str, Any]], list[dict[str, Any]]]]) -> float:
    """Checks a second, inserted school by school, each in a commit of its own."""
    with fresh() as store:
        begun = time.perf_counter()
        for rounds, checks in rows:
            with store.transaction() as tx:
                tx.connection().execute(insert(table_of(RoundRow)), rounds)
                tx.connection().execute(insert(table_of(CheckRow)), checks)
        return sum(len(checks) for _, checks in rows) / (time.perf_counter() - begun)


def planned(book: Desk) -> float:
    """Checks a second, planned by the planner into a fresh database."""
    with fresh() as store:
        desk = open_desk(store, SteppedClock(at("07:00")))
        desk._book = book._book
        begun = time.perf_counter()
        new = planner.plan_all(desk, DAY)
        return new / (time.perf_counter() - begun)


def again(desk: Desk, count: int) -> float:
    """Checks a second, looked through again without a change."""
    begun = time.perf_counter()
    if planner.plan_all(desk, DAY) != 0:
        raise AssertionError("planning twice changed something")
    return count / (time.perf_counter() - begun)


def idle(desk: Desk) -> float:
    """Milliseconds of processor that a minute of waiting takes."""
    begun = time.process_time()
    for _ in range(MINUTE):
        running.run_due(desk, desk.clock.now())
        running.next_due(desk)
    return (time.process_time() - begun) * 1000


def figures(schools: int = SCHOOLS) -> Iterator[Figure]:
    students = schools * ROOMS * CHILDREN
    with fresh() as store, fresh() as empty:
        desk = desk_over(store, schools)
        planner.plan_all(desk, DAY)
        rows = rows_of(store)
        name = f"a day of {students:,} students in {schools} schools"
        yield beside(
            f"{name}, planned", "bare inserts", "checks/s", lambda: bare(rows), lambda: planned(desk)
        )
        yield beside(
            f"{name}, planned again",
            "planned first",
            "checks/s",
            lambda: planned(desk),
            lambda: again(desk, students),
        )
        small = desk_over(empty, 1)
        planner.plan_all(small, DAY)
        name = f"a minute's wait for {students:,} planned checks"
        yield beside(name, "the same for 250 checks", "ms of CPU", lambda: idle(small), lambda: idle(desk))
