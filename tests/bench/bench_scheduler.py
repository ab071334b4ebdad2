"""Rows with a due instant and one job for the next of them, beside one scheduler job for each deadline.

Both keep their deadlines in an SQLite file with the same settings, and do the same for each: one insert and one
update. The scheduler's jobs each commit on their own, as jobs do; we take what is due a hundred at a time.
"""

import logging
import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from apscheduler.events import EVENT_JOB_EXECUTED, EVENT_JOB_MISSED
from apscheduler.jobstores.sqlalchemy import SQLAlchemyJobStore
from apscheduler.schedulers.background import BackgroundScheduler
from sqlalchemy import bindparam, create_engine, event, insert, update
from sqlmodel import Session

from service.engine.clock import wall_now
from service.store import rounds
from service.store.base import Store, prepare_sqlite
from service.store.tables import InboxRow, RoundRow, table_of
from tests.bench.figures import Figure, in_turn

DEADLINES = 1000
BATCH = 100
SLOWEST = 100
"""Jobs that a scheduler sets up in a second, at the least: they fall due when all of them are there."""

PATIENCE = 120.0

_stores: dict[str, Store] = {}
"""A job can only be told the name of what it works on."""


@dataclass(frozen=True)
class Kept:
    """Deadlines set up a second, deadlines met a second, and how many were dropped without a word."""

    set_up: float
    met: float
    dropped: int


def round_of(n: int, due: datetime) -> dict[str, object]:
    """A round as the planner writes it."""
    return {
        "id": f"rd-{n:06}", "school": "school000", "date": due.date(), "due": due,
        "checker": f"school000-room{n}", "second": None, "body": {"before": ""},
    }  # fmt: skip


def work(tx: Session, ids: list[str]) -> None:
    """What is done for deadlines: their rows are marked, and one is written for each."""
    connection, now = tx.connection(), wall_now()
    rows = table_of(RoundRow)
    marked = update(rows).where(rows.c.id == bindparam("of")).values(state="asked", asked_at=now)
    connection.execute(marked, [{"of": id} for id in ids])
    message = {
        "channel": "chat", "address": "a", "text": "x" * 200, "received_at": now, "proven": False,
        "truncated": False, "state": "read", "body": {},
    }  # fmt: skip
    connection.execute(insert(table_of(InboxRow)), [{**message, "id": id, "external_id": id} for id in ids])


def ours(count: int) -> Kept:
    """Deadlines as rows."""
    with TemporaryDirectory() as folder, closing(Store(f"sqlite:///{Path(folder) / 'ours.db'}")) as store:
        store.upgrade()
        due = wall_now()
        began = time.perf_counter()
        with store.transaction() as tx:
            rounds.insert_many(tx, [round_of(n, due) for n in range(count)], [])
        set_up = time.perf_counter() - began
        began, met = time.perf_counter(), 0
        while True:
            with store.transaction() as tx:
                due_now = rounds.due(tx, wall_now(), BATCH)
                if due_now:
                    work(tx, [row.id for row in due_now])
            met += len(due_now)
            if not due_now:
                break
        return Kept(count / set_up, met / (time.perf_counter() - began), count - met)


def job(store_path: str, id: str) -> None:
    """One job for one deadline."""
    store = _stores[store_path]
    with store.transaction() as tx:
        work(tx, [id])


def theirs(count: int, grace: int | None) -> Kept:
    """Deadlines as jobs. `grace`: seconds after which a late job is dropped, None for never."""
    with TemporaryDirectory() as folder:
        path = str(Path(folder) / "work.db")
        with closing(Store(f"sqlite:///{path}")) as store:
            store.upgrade()
            with store.transaction() as tx:
                rounds.insert_many(tx, [round_of(n, wall_now()) for n in range(count)], [])
            _stores[path] = store
            try:
                return _scheduled(Path(folder), path, count, grace)
            finally:
                del _stores[path]


def _scheduled(folder: Path, path: str, count: int, grace: int | None) -> Kept:
    engine = create_engine(f"sqlite:///{folder / 'jobs.db'}")
    event.listen(engine, "connect", prepare_jobs)
    scheduler = BackgroundScheduler(
        jobstores={"default": SQLAlchemyJobStore(engine=engine)}, timezone="UTC",
        job_defaults={"misfire_grace_time": grace},
    )  # fmt: skip
    done, dropped, all_over = [0], [0], threading.Event()

    def tell(what: object) -> None:
        counted = done if getattr(what, "code", None) == EVENT_JOB_EXECUTED else dropped
        counted[0] += 1
        if done[0] + dropped[0] == count:
            all_over.set()

    scheduler.add_listener(tell, EVENT_JOB_EXECUTED | EVENT_JOB_MISSED)
    scheduler.start(paused=True)
    began = time.perf_counter()
    due = wall_now() + timedelta(seconds=0.5 + count / SLOWEST)
    for n in range(count):
        scheduler.add_job(job, "date", run_date=due, args=(path, f"rd-{n:06}"))
    set_up = time.perf_counter() - began
    time.sleep(max(0.0, (due - wall_now()).total_seconds()))
    began = time.perf_counter()
    scheduler.resume()
    if not all_over.wait(PATIENCE):
        raise RuntimeError(f"{count - done[0] - dropped[0]} jobs never came")
    took = time.perf_counter() - began
    scheduler.shutdown()
    engine.dispose()
    return Kept(count / set_up, done[0] / took, dropped[0])


def prepare_jobs(connection: sqlite3.Connection, record: object) -> None:
    """The settings of our own database, for theirs."""
    prepare_sqlite(connection, record)
    connection.isolation_level = "DEFERRED"


def figures(count: int = DEADLINES) -> Iterator[Figure]:
    """Setting deadlines up, meeting them, and losing none."""
    logging.getLogger("apscheduler").setLevel(logging.CRITICAL)
    pairs = in_turn(lambda: theirs(count, None), lambda: ours(count))
    for name, of in (("set up", "set_up"), ("met", "met")):
        limit, mine = (median(getattr(kept, of) for kept in column) for column in zip(*pairs, strict=True))
        yield Figure(f"{count:,} deadlines at one instant, {name}", "one job each", limit, mine, "per second")
    dropped = theirs(count, 1).dropped
    kept = count - max(mine.dropped for _, mine in pairs)
    yield Figure("the same, not dropped", "one job each, as it comes", count - dropped, kept, "of them")
