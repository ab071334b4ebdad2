"""How late what is due lies committed in the outbox, while ten thousand chases are open and the planner runs.

The real waker runs on real time over a morning in which every checker is silent; deadlines come one after another,
a thousand a minute. By itself, for as long as wanted: `python -m tests.bench.bench_lateness --minutes 10`.
"""

import argparse
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from statistics import quantiles
from typing import Any

from sqlmodel import col, select

from service.engine import planner, postman, running, waker
from service.engine.clock import FastClock
from service.engine.desk import Desk
from service.engine.postman import Outcome, Report
from service.engine.waker import Waker
from service.store.base import Store
from service.store.tables import ChaseRow
from tests.bench.figures import Figure
from tests.bench.large_districts import desk_over, fresh, put_into_force
from tests.engine.engine_district import Documents, district
from tests.engine.engine_morning import at

SCHOOLS, ROOMS = 400, 25
"""One child each: ten thousand chases."""

MINUTES = 2.0
SPREAD = timedelta(minutes=10)
FIRST, BEFORE = "08:10", timedelta(seconds=3)
"""The first deadline, and how long before it the clock begins to run."""

P99, MOST = 250.0, 1000.0
"""The goals, in milliseconds."""


class Forgetful(dict[str, Any]):
    """Remembers nothing of what was planned, so that all is planned again and again."""

    def get(self, _key: str, _default: Any = None) -> None:
        """Nothing."""


def silent(schools: int, rooms: int) -> Documents:
    """A district in which each checker is reminded at an instant of their own within ten minutes."""
    made = district(schools, rooms, 1)
    limits = made["chains"]["silence"]["steps"]
    for n, student in enumerate(made["students"].values()):
        after = timedelta(minutes=10) + n % 600 * 2 * SPREAD / 600
        chain = f"silence {n % 600}"
        own = {"tell": "checker", "limit": f"{after.seconds} s"}
        made["chains"].setdefault(chain, {"steps": [own, *limits[1:]]})
        student["chains"] = {"silence": chain}
    return made


def ask(desk: Desk) -> None:
    """Everybody is asked at five past eight, and every prompt is accepted."""
    planner.plan_all(desk)
    desk.clock.move_to(at("08:05"))
    now = desk.clock.now()
    running.run_due(desk, now)
    while errands := postman.claim(desk, now):
        postman.record_all(desk, [(errand, Report(Outcome.ACCEPTED)) for errand in errands], now)
    running.run_due(desk, now)


def deadlines(store: Store) -> dict[str, datetime]:
    """When each open chase has its next deadline."""
    with store.reading() as tx:
        chosen = select(ChaseRow.id, ChaseRow.wake_at).where(col(ChaseRow.ended_at).is_(None))
        return {id: due for id, due in tx.exec(chosen) if due is not None}


class Stopwatch:
    """Looks after every commit which chases got their message by it, and how late that was."""

    def __init__(self, store: Store, now: Callable[[], datetime]) -> None:
        self._now, self._due = now, deadlines(store)
        self.open = len(self._due)
        self._reading = sqlite3.connect(store.url.database or "", isolation_level=None, check_same_thread=False)
        self._seen = self._reading.execute("SELECT coalesce(max(rowid), 0) FROM outbox_chases").fetchone()[0]
        self._lock = threading.Lock()
        self.late: list[float] = []
        store.on_commit = self._look

    def _look(self, moment: str) -> None:
        if moment != "after commit":
            return
        now = self._now()
        with self._lock:
            found = self._reading.execute(
                "SELECT rowid, chase_id FROM outbox_chases WHERE rowid > ? ORDER BY rowid", (self._seen,)
            ).fetchall()
            for self._seen, chase in found:
                due = self._due.pop(chase, None)
                if due is not None:
                    self.late.append((now - due).total_seconds() * 1000)

    def missed(self) -> int:
        """How many deadlines are over by a second and have no message."""
        over = self._now() - timedelta(seconds=1)
        return sum(due <= over for due in self._due.values())


def figures(schools: int = SCHOOLS, rooms: int = ROOMS, minutes: float = MINUTES) -> Iterator[Figure]:
    """The lateness of 99 of 100 and of the worst."""
    with fresh() as store:
        put_into_force(store, silent(schools, rooms))
        desk = desk_over(store)
        ask(desk)
        desk.clock = FastClock(at(FIRST) - BEFORE, 1.0)
        desk.planned = Forgetful()
        watch = Stopwatch(store, desk.clock.now)
        planning, waker.PLAN_EVERY = waker.PLAN_EVERY, timedelta()
        runs = Waker(desk)
        runs.start()
        try:
            time.sleep(BEFORE.total_seconds() + minutes * 60)
        finally:
            runs.stop()
            waker.PLAN_EVERY = planning
        if not watch.late or watch.missed():
            raise RuntimeError(f"{len(watch.late)} deadlines were kept and {watch.missed()} were not")
    name = f"{len(watch.late):,} deadlines of {watch.open:,} open chases in {minutes:g} min"
    p99 = quantiles(watch.late, n=100, method="inclusive")[98] if len(watch.late) > 1 else watch.late[0]
    yield Figure(f"{name}, 99 of 100 late by", "the goal", P99, p99, "ms")
    yield Figure("the same, the latest", "the goal", MOST, max(watch.late), "ms")


def main() -> None:
    """Run for as long as asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--schools", type=int, default=SCHOOLS)
    parser.add_argument("--minutes", type=float, default=10.0)
    given = parser.parse_args()
    for figure in figures(given.schools, ROOMS, given.minutes):
        print(figure)


if __name__ == "__main__":
    main()
