"""What a real `serve` process takes while a hundred thousand planned checks wait and nothing falls due.

The schools' clocks stand at one in the morning, so that a whole day lies ahead whenever this is run. As long a
span as wanted: `python -m tests.bench.bench_idle --minutes 10`.
"""

import argparse
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from service.engine.clock import wall_now
from service.store.base import Store
from tests.bench.figures import Figure
from tests.bench.large_districts import CHILDREN, ROOMS, put_into_force
from tests.engine.engine_district import Documents, district
from tests.engine.lanes_made import CHAT_SECRET

SCHOOLS = 400
SECONDS = 30.0
PLANNED_WITHIN = 300.0
PER_CENT, MEGABYTES = 0.5, 130.0
"""The goals: of one core, and of resident memory."""

TICKS = os.sysconf("SC_CLK_TCK")


def one_in_the_morning() -> str:
    """A zone in which it is between one and two at night now."""
    east = (1 - wall_now().hour + 12) % 24 - 12
    return f"Etc/GMT{-east:+d}" if east else "Etc/GMT"


def sleeping(schools: int) -> Documents:
    """A district with school every day from yesterday on, in which it is night."""
    made = district(schools, ROOMS, CHILDREN)
    first, last = (wall_now() + timedelta(days=n) for n in (-2, 30))
    for school in made["schools"].values():
        school["zone"] = one_in_the_morning()
        school["terms"] = [{"Now": f"{first:%Y-%m-%d} to {last:%Y-%m-%d}"}]
        school["week"] = dict.fromkeys(("mon", "tue", "wed", "thu", "fri", "sat", "sun"), "regular")
    return made


@contextmanager
def serving(database: Path) -> Iterator[int]:
    """The process id of a service over this database; its pages listen where nobody looks."""
    env = {
        **os.environ, "BELLCHECK_DB": f"sqlite:///{database}", "BELLCHECK_KEY": "k" * 40,
        "BELLCHECK_BOARD_KEY": "a board key of a bench", "BELLCHECK_BIND": "127.0.0.1:0", "CHAT": CHAT_SECRET,
        "BELLCHECK_BASE_URL": "http://127.0.0.1:8420",
    }  # fmt: skip
    process = subprocess.Popen(
        [sys.executable, "-m", "service", "serve"], env=env, stdout=subprocess.PIPE, text=True
    )
    try:
        if process.stdout is None or "serves" not in process.stdout.readline():
            raise RuntimeError("the service did not start")
        yield process.pid
    finally:
        process.terminate()
        process.wait(20)


def wait_until_planned(database: Path, schools: int) -> None:
    """Today and tomorrow, and whatever follows from it."""
    store = Store(f"sqlite:///{database}")
    end = time.monotonic() + PLANNED_WITHIN
    while planned(store) < 2 * schools:
        if time.monotonic() > end:
            raise RuntimeError("the district was not planned in time")
        time.sleep(0.5)
    store.close()
    time.sleep(2)


def planned(store: Store) -> int:
    """How many days of schools have been planned."""
    with store.reading() as tx:
        found = tx.connection().exec_driver_sql("SELECT count(*) FROM service_marks WHERE key LIKE 'day/%'")
        return int(found.scalar_one())


def cpu_of(pid: int) -> float:
    """Seconds of processor that a process has taken."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


def memory_of(pid: int) -> float:
    """The resident memory of a process, in megabytes."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS")) / 1024


def figures(schools: int = SCHOOLS, seconds: float = SECONDS) -> Iterator[Figure]:
    """Processor and memory of a waiting service."""
    with TemporaryDirectory() as folder:
        database = Path(folder) / "bench.db"
        store = Store(f"sqlite:///{database}")
        store.upgrade()
        put_into_force(store, sleeping(schools))
        store.close()
        with serving(database) as pid:
            wait_until_planned(database, schools)
            began, before = time.monotonic(), cpu_of(pid)
            time.sleep(seconds)
            share = (cpu_of(pid) - before + 1 / TICKS) / (time.monotonic() - began) * 100
            memory = memory_of(pid)
    name = f"waiting with {schools * ROOMS * CHILDREN:,} checks for {seconds:.0f} s"
    yield Figure(name, "the goal", PER_CENT, share, "% of a core")
    yield Figure("the same, resident memory of `serve`", "the goal", MEGABYTES, memory, "MB")


def main() -> None:
    """Wait as long as asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--schools", type=int, default=SCHOOLS)
    parser.add_argument("--minutes", type=float, default=10.0)
    given = parser.parse_args()
    for figure in figures(given.schools, given.minutes * 60):
        print(figure)


if __name__ == "__main__":
    main()
