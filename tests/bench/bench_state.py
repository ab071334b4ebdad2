"""A day of a tenth of a state on PostgreSQL, lived by several instances: planned, asked, mostly answered, ended.

Messages go to a sink that accepts all. The day's clock is stepped from one instant at which much falls due to the next,
and each is timed until no instance finds anything left to do: that is how late the last of it is. A command of its own:
`python -m tests.bench state`, or `python -m tests.bench.bench_state --students 10000`.
"""

import argparse
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence

from service.engine import commands, planner, postman, running
from service.engine.clock import SteppedClock
from service.engine.commands import Received
from service.engine.desk import Desk
from service.engine.postman import Outcome, Report
from service.engine.waker import TROUBLE_WAIT
from service.store.base import Store
from service.store.errors import DatabaseBusy
from tests.bench.bench_instances import counted
from tests.bench.bench_planning import DAY
from tests.bench.figures import HEAD, Figure
from tests.bench.large_districts import CHILDREN, ROOMS, desk_over, on_postgresql, put_into_force
from tests.engine.engine_district import district
from tests.engine.engine_morning import at

STUDENTS, INSTANCES = 100_000, 4
ANSWERED = "08:06"
WALLS = ("08:05", ANSWERED, "08:10", "08:15", "08:20", "08:30", "09:50")
"""Everybody is asked; nine of ten answer, one of these with a fault; reminders; the next in the chain; the end."""

SOON = 15.0
"""Seconds in which the last prompt of a bell is to be out."""

TABLES = (
    "rounds", "checks", "statements", "chases", "tray", "outbox", "outbox_chases", "inbox", "journal",
    "journal_values",
)  # fmt: skip


def instance(url: str, number: int, instances: int) -> None:
    """One instance: at each instant that it is told, all that is due, until nothing is left for anybody."""
    store = Store(url)
    desk = desk_over(store, "08:00", f"i{number}")
    with desk.glance() as m:
        mine = sorted(p for p in m.district.people if "-room" in p)[number::instances]
    print("ready", flush=True)
    for wall in sys.stdin:
        assert isinstance(desk.clock, SteppedClock)
        desk.clock.move_to(at(wall.strip()))
        if wall.strip() == ANSWERED:
            answer(desk, mine)
        work(desk)
        print("done", flush=True)
    store.close()


def answer(desk: Desk, people: Sequence[str]) -> None:
    """Nine of ten of these answer, one in nine of them with a fault."""
    said = [
        Received(
            "chat", f"m-{person}", person, "2 battery, rest ok" if n % 10 == 1 else "ok", person, proven=True
        )
        for n, person in enumerate(people)
        if n % 10
    ]
    for first in range(0, len(said), 100):
        commands.receive_all(desk, said[first : first + 100])


def work(desk: Desk) -> None:
    """All that is due now, sending included; where another instance holds what is needed, again as a waker would."""
    now = desk.clock.now()
    while True:
        try:
            done = running.run_due(desk, now)
        except DatabaseBusy:
            time.sleep(TROUBLE_WAIT.total_seconds())
            continue
        while errands := postman.claim(desk, now):
            postman.record_all(desk, [(errand, Report(Outcome.ACCEPTED)) for errand in errands], now)
            done += len(errands)
        due = running.next_due(desk)
        if not done and (due is None or due > now):
            return
        if not done:
            time.sleep(0.05)


def live(url: str, instances: int) -> dict[str, float]:
    """Seconds that each instant of the day took."""
    command = [sys.executable, "-m", "tests.bench.bench_state", "--instance", url]
    running_now = [
        subprocess.Popen(
            [*command, str(n), str(instances)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        for n in range(instances)
    ]
    try:
        _hear(running_now, "ready")
        took = {}
        for wall in WALLS:
            began = time.perf_counter()
            for one in running_now:
                assert one.stdin is not None
                one.stdin.write(f"{wall}\n")
                one.stdin.flush()
            _hear(running_now, "done")
            took[wall] = time.perf_counter() - began
        return took
    finally:
        for one in running_now:
            assert one.stdin is not None
            one.stdin.close()
            one.wait(30)


def _hear(instances: Sequence[subprocess.Popen[str]], word: str) -> None:
    for one in instances:
        assert one.stdout is not None
        if one.stdout.readline() != f"{word}\n":
            raise RuntimeError("an instance failed")


def check(store: Store, students: int, rounds: int) -> None:
    """Raise unless every check has its result and every round its one prompt."""
    with store.reading() as tx:
        ended = counted(tx, "SELECT count(*), count(result) FROM checks")
        prompts = counted(tx, "SELECT count(*), count(DISTINCT person) FROM outbox WHERE purpose = 'prompt'")
    if ended != (students, students) or prompts != (rounds, rounds):
        raise AssertionError(f"checks and results {ended}, prompts and people {prompts}")


def sizes(store: Store) -> dict[str, tuple[int, int]]:
    """Rows of each table, and bytes with its indexes."""
    found: dict[str, tuple[int, int]] = {}
    with store.reading() as tx:
        for table in TABLES:
            rows, size = counted(
                tx, f"SELECT (SELECT count(*) FROM {table}), pg_total_relation_size('{table}')"
            )
            found[table] = rows, size
    return found


def figures(students: int = STUDENTS, instances: int = INSTANCES) -> Iterator[Figure]:
    """Planning, the bell, the answers, the whole day; rows and bytes of it."""
    schools = max(1, students // (ROOMS * CHILDREN))
    students, rounds = schools * ROOMS * CHILDREN, schools * ROOMS
    with on_postgresql() as url:
        store = Store(url)
        store.upgrade()
        put_into_force(store, district(schools, ROOMS, CHILDREN))
        began = time.perf_counter()
        planner.plan_all(desk_over(store), DAY)
        planned = time.perf_counter() - began
        took = live(url, instances)
        check(store, students, rounds)
        held = sizes(store)
        store.close()
    name = f"{students:,} students on PostgreSQL, {instances} instances"
    yield Figure(f"{name}: planned by one", "the goal for 100,000", 5.0 * students / 1e5, planned, "s")
    yield Figure(
        "the same: last prompt out after the bell", "the goal for 10,000 rounds", SOON, took["08:05"], "s"
    )
    yield Figure("the same: nine of ten answered, all answers out", "a minute", 60.0, took[ANSWERED], "s")
    others = max(seconds for wall, seconds in took.items() if wall not in ("08:05", ANSWERED))
    yield Figure("the same: the slowest later instant", "a minute", 60.0, others, "s")
    yield Figure("the same: the day in all", "a school day", 6.5 * 3600, planned + sum(took.values()), "s")
    rows, size = (sum(column) for column in zip(*held.values(), strict=True))
    yield Figure("the same: rows a student and day", "checks alone", 1.0, rows / students, "rows")
    yield Figure(
        "the same: bytes a student and day, indexes included",
        "a check's row",
        size / rows,
        size / students,
        "bytes",
    )
    for table, (count, taken) in held.items():
        print(f"    {table:<16}{count:>12,} rows{taken / max(1, count):>8,.0f} bytes a row", flush=True)


def main() -> None:
    """Live a day of as many students as are asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--students", type=int, default=STUDENTS)
    parser.add_argument("--instances", type=int, default=INSTANCES)
    parser.add_argument("--instance", nargs=3, metavar=("URL", "NUMBER", "OF"), help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.instance:
        url, number, instances = given.instance
        instance(url, int(number), int(instances))
        return
    print(HEAD, flush=True)
    for figure in figures(given.students, given.instances):
        print(figure, flush=True)


if __name__ == "__main__":
    main()
