"""One and four instances on one PostgreSQL database: rounds due at one instant, until all prompts lie in the outbox.

Nothing is sent. Afterwards every round has its one message, whoever put it out. The server is the one that
BELLCHECK_POSTGRES names; it shares the machine's cores with the instances.
"""

import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from statistics import median

from sqlalchemy import text
from sqlmodel import Session

from service.engine import planner, running
from service.engine.waker import OVERDUE_WAIT
from service.store.base import Store
from tests.bench.bench_planning import DAY
from tests.bench.figures import Figure, in_turn
from tests.bench.large_districts import desk_over, on_postgresql, put_into_force
from tests.engine.engine_district import district

SCHOOLS, ROOMS, CHILDREN = 80, 25, 3
INSTANCES = 4
LEFT = """SELECT (SELECT count(*) FROM rounds WHERE state = 'planned')
    + (SELECT count(*) FROM tray WHERE outbox_id IS NULL AND dropped IS NULL)"""
PUT_OUT = "SELECT count(*), count(DISTINCT key), count(DISTINCT person) FROM outbox"


def counted(tx: Session, query: str) -> tuple[int, ...]:
    """The one row of a query for counts."""
    return tuple(tx.connection().execute(text(query)).one())


def instance(url: str, owner: str) -> None:
    """One instance: ready, then on a word from outside everything that is due, until nothing is left."""
    store = Store(url)
    desk = desk_over(store, "08:05", owner)
    with desk.glance() as m:
        desk.book(m.tx)
    print("ready", flush=True)
    sys.stdin.readline()
    left = 1
    while left:
        if not running.run_due(desk, desk.clock.now()):
            time.sleep(OVERDUE_WAIT.total_seconds())
        with store.reading() as tx:
            (left,) = counted(tx, LEFT)
    store.close()


def rate(source: str, rounds: int, instances: int) -> float:
    """Rounds a second that so many instances bring into the outbox together."""
    with on_postgresql(source) as url:
        command = [sys.executable, "-m", "tests.bench.bench_instances", url]
        running_now = [
            subprocess.Popen([*command, f"i{n}"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
            for n in range(instances)
        ]
        for one in running_now:
            assert one.stdout is not None
            if one.stdout.readline() != "ready\n":
                raise RuntimeError("an instance did not start")
        began = time.perf_counter()
        for one in running_now:
            assert one.stdin is not None
            one.stdin.write("go\n")
            one.stdin.flush()
        if any(one.wait() for one in running_now):
            raise RuntimeError("an instance failed")
        took = time.perf_counter() - began
        check(url, rounds)
    return rounds / took


def check(url: str, rounds: int) -> None:
    """Raise unless every round has its one message."""
    store = Store(url)
    with store.reading() as tx:
        found = counted(tx, PUT_OUT)
    store.close()
    if found != (rounds, rounds, rounds):
        raise AssertionError(f"{rounds} rounds led to {found} messages, keys and people")


@contextmanager
def planned(schools: int) -> Iterator[str]:
    """The name of a database with a planned day, to be copied."""
    with on_postgresql() as url:
        store = Store(url)
        store.upgrade()
        put_into_force(store, district(schools, ROOMS, CHILDREN))
        planner.plan_all(desk_over(store), DAY)
        store.close()
        yield str(store.url.database)


def figures(schools: int = SCHOOLS) -> Iterator[Figure]:
    """Four instances beside one."""
    rounds = schools * ROOMS
    with planned(schools) as source:
        pairs = in_turn(lambda: rate(source, rounds, 1), lambda: rate(source, rounds, INSTANCES))
    one, four = (median(column) for column in zip(*pairs, strict=True))
    name = f"{rounds:,} rounds of {CHILDREN} on PostgreSQL by {INSTANCES} instances"
    yield Figure(name, "one instance", one, four, "rounds/s")


if __name__ == "__main__":
    instance(sys.argv[1], sys.argv[2])
