"""Planning a day for a large district beside bare inserts of the same rows, and what it costs to wait for it.

Both are measured in processes of their own, one after the other, so that each begins with a clean memory; ours
reads the configuration as well.
"""

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import date
from functools import partial
from itertools import groupby
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from typing import Any

from sqlalchemy import Table, insert, select

from service.engine import planner, running
from service.engine.desk import Desk
from service.store.base import Store
from service.store.tables import CheckRow, JournalHead, JournalRow, RoundRow, ServiceMark, table_of
from tests.bench.figures import Figure, beside, in_turn
from tests.bench.large_districts import CHILDREN, ROOMS, desk_over, fresh, put_into_force
from tests.engine.engine_district import district

SCHOOLS = 400
DAY = date(2026, 10, 5)
MINUTE = 12
"""Looks in a minute: one each five seconds."""

SECONDS, MEGABYTES = 5.0, 300.0
"""The goals for 100,000 students."""

Rows = list[tuple[Table, list[dict[str, Any]]]]


def school_of(row: dict[str, Any]) -> str:
    """The school of a planned round, check, journal entry or head, or day's end."""
    named = row.get("school") or row.get("stream") or row["key"].removeprefix("day/")
    return str(named).split("/")[0]


def rows_of(store: Store) -> list[Rows]:
    """All that planning has written, as plain values, school by school."""
    schools: dict[str, Rows] = {}
    with store.reading() as tx:
        for kind in (RoundRow, CheckRow, JournalRow, JournalHead, ServiceMark):
            table = table_of(kind)
            rows = [dict(row) for row in tx.connection().execute(select(table)).mappings()]
            for school, own in groupby(sorted(rows, key=school_of), school_of):
                schools.setdefault(school, []).append((table, list(own)))
    return list(schools.values())


def bare(source: Path) -> dict[str, float]:
    """The rows of a planned database, inserted school by school, each in a commit of its own."""
    held = Store(f"sqlite:///{source}")
    schools = rows_of(held)
    held.close()
    with fresh() as store:
        began, cpu = time.perf_counter(), time.process_time()
        for tables in schools:
            with store.transaction() as tx:
                for table, rows in tables:
                    tx.connection().execute(insert(table), rows)
        return taken(began, cpu)


def planned(source: Path) -> dict[str, float]:
    """A day planned in the configured database `source`, its configuration read first."""
    store = Store(f"sqlite:///{source}")
    began, cpu = time.perf_counter(), time.process_time()
    checks = planner.plan_all(desk_over(store), DAY)
    measured = {**taken(began, cpu), "checks": checks, "megabytes": high_water()}
    store.close()
    return measured


def taken(began: float, cpu: float) -> dict[str, float]:
    """Seconds on the wall and of processor since then."""
    return {"seconds": time.perf_counter() - began, "cpu": time.process_time() - cpu}


def high_water() -> float:
    """The most memory this process ever held, in megabytes."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024


def apart(what: str, source: Path) -> dict[str, float]:
    """One measurement in a process of its own."""
    command = [sys.executable, "-m", "tests.bench.bench_planning", what, str(source)]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    found: dict[str, float] = json.loads(done.stdout)
    return found


def apart_on_a_copy(what: str, folder: Path) -> dict[str, float]:
    """The same on a copy of the configured database, which stays as it is; bare rows come from a planned one."""
    copy = folder / f"{what}.db"
    if what == "planned":
        copy.write_bytes((folder / "configured.db").read_bytes())
        return apart(what, copy)
    return apart(what, folder / "planned.db")


def day_of(schools: int) -> Iterator[Figure]:
    """How fast a day is planned, in what time and memory."""
    with TemporaryDirectory() as temporary:
        folder = Path(temporary)
        store = Store(f"sqlite:///{folder / 'configured.db'}")
        store.upgrade()
        put_into_force(store, district(schools, ROOMS, CHILDREN))
        store.close()
        pairs = in_turn(partial(apart_on_a_copy, "planned", folder), partial(apart_on_a_copy, "bare", folder))
    checks = pairs[0][0]["checks"]
    name = f"a day of {checks:,.0f} students in {schools} schools, planned"
    for measure, said in (("seconds", name), ("cpu", "the same by processor time")):
        ours, least = (median(checks / one[measure] for one in column) for column in zip(*pairs, strict=True))
        yield Figure(said, "bare inserts", least, ours, "checks/s")
    seconds = median(ours["seconds"] for ours, _ in pairs)
    yield Figure("the same, in all", "the goal", SECONDS * checks / 100_000, seconds, "s")
    memory = max(ours["megabytes"] for ours, _ in pairs)
    yield Figure("the same, most memory ever held", "the goal", MEGABYTES, memory, "MB")


def first(desk: Desk, count: int) -> float:
    """Checks a second, planned for a day that was not planned yet."""
    began = time.perf_counter()
    with fresh() as store:
        put_into_force(store, {})
        other = desk_over(store)
        other._book = desk._book
        began = time.perf_counter()
        planner.plan_all(other, DAY)
        return count / (time.perf_counter() - began)


def again(desk: Desk, count: int) -> float:
    """Checks a second, looked through again without a change, as after a restart."""
    began = time.perf_counter()
    if planner.plan_all(desk, DAY) != 0:
        raise AssertionError("planning twice changed something")
    return count / (time.perf_counter() - began)


def idle(desk: Desk) -> float:
    """Milliseconds of processor that a minute of waiting takes."""
    began = time.process_time()
    for _ in range(MINUTE):
        running.run_due(desk, desk.clock.now())
        running.next_due(desk)
    return (time.process_time() - began) * 1000


def figures(schools: int = SCHOOLS) -> Iterator[Figure]:
    """Planning, planning again, and waiting."""
    yield from day_of(schools)
    count = schools * ROOMS * CHILDREN
    with fresh() as store, fresh() as small:
        put_into_force(store, district(schools, ROOMS, CHILDREN))
        put_into_force(small, district(1, ROOMS, CHILDREN))
        desk, little = desk_over(store), desk_over(small)
        planner.plan_all(desk, DAY)
        planner.plan_all(little, DAY)
        yield beside(
            "the same, planned again without a change",
            "planning it first",
            "checks/s",
            lambda: first(desk, count),
            lambda: again(desk, count),
        )
        name = f"a minute's wait for {count:,} planned checks"
        yield beside(
            name, "the same for 250 checks", "ms of CPU", lambda: idle(little), lambda: idle(desk)
        )


if __name__ == "__main__":
    print(json.dumps({"bare": bare, "planned": planned}[sys.argv[1]](Path(sys.argv[2]))))
