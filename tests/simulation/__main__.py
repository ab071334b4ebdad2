"""The simulated district from the command line: so many student-days on so many seeds, or one seed again.

    python -m tests.simulation --student-days 20000
    python -m tests.simulation --replay 17
"""

import argparse
import sys
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, field
from functools import partial
from multiprocessing import get_context

from tests.simulation.makers import DATABASES, maker
from tests.simulation.runs import DAYS, Run, play
from tests.simulation.shrink import shrunk
from tests.simulation.transitions import Taken, wanted

SAY_EVERY = 30.0


@dataclass
class Sum:
    """What all runs came to."""

    seeds: int = 0
    student_days: int = 0
    counts: Counter[str] = field(default_factory=Counter)
    taken: Taken = field(default_factory=Taken)
    wrong: list[Run] = field(default_factory=list)
    since: float = field(default_factory=time.monotonic)

    def add(self, run: Run) -> None:
        self.seeds += 1
        self.student_days += run.student_days
        self.counts.update(run.counts)
        self.taken.times.update(run.taken.times)
        if run.wrong:
            self.wrong.append(run)

    def __str__(self) -> str:
        seconds = time.monotonic() - self.since
        took = len(wanted()) - len(self.taken.missing())
        shown = ("replies", "messages", "attempts", "crashes", "pauses", "notice", "change", "press")
        return (
            f"{self.student_days:,} student-days on {self.seeds:,} seeds in {seconds:,.0f} s "
            f"({self.student_days / max(seconds, 0.001):,.0f}/s): "
            + ", ".join(f"{self.counts[name]:,} {name}" for name in shown)
            + f"; transitions {took}/{len(wanted())}; {len(self.wrong)} seeds failed"
        )


def simulate(student_days: int, first: int, workers: int, database: str, instances: int, keep: int) -> Sum:
    """Play seed after seed until enough student-days were played or `keep` seeds failed."""
    total, said = Sum(), time.monotonic()
    seeds = iter(range(first, sys.maxsize))
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        under_way: set[Future[Run]] = set()
        while total.student_days < student_days and len(total.wrong) < keep:
            while len(under_way) < workers * 2:
                under_way.add(pool.submit(one, next(seeds), database, instances))
            done, under_way = wait(under_way, return_when=FIRST_COMPLETED)
            for each in done:
                total.add(each.result())
            if time.monotonic() - said > SAY_EVERY:
                said = time.monotonic()
                print(total, flush=True)
        for each in under_way:
            each.cancel()
    return total


def one(seed: int, database: str, instances: int) -> Run:
    """One seed in a process of its own; what cannot be sent back is left behind."""
    run = play(seed, DAYS, maker(database, instances))
    run.error = None
    return run


def stories(total: Sum, database: str, instances: int) -> Iterator[str]:
    make = maker(database, instances)
    for run in total.wrong:
        replay = partial(_replay, run.seed, make)
        yield f"seed {run.seed} fails:\n{run.wrong}\n\n{shrunk(run, replay)}"


def _replay(seed: int, make: object, only: frozenset[str], without: frozenset[str]) -> Run:
    return play(seed, DAYS, make, only, without)  # type: ignore[arg-type]


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.simulation", description=__doc__)
    parser.add_argument("--student-days", type=int, default=20_000)
    parser.add_argument("--database", choices=DATABASES, default="sqlite")
    parser.add_argument("--instances", type=int, default=3, help="how many share PostgreSQL; SQLite has one")
    parser.add_argument("--seed", type=int, default=0, help="the first seed")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--failures", type=int, default=1, help="go on until so many seeds have failed")
    parser.add_argument("--replay", type=int, metavar="SEED", help="play this one seed only")
    parser.add_argument("--transitions", action="store_true", help="print how often each transition was taken")
    given = parser.parse_args()
    if given.replay is not None:
        total = Sum()
        total.add(play(given.replay, DAYS, maker(given.database, given.instances)))
    else:
        total = simulate(
            given.student_days, given.seed, given.workers, given.database, given.instances, given.failures
        )
    for story in stories(total, given.database, given.instances):
        print(story)
    if given.transitions:
        print(total.taken.table())
    print(total)
    return 1 if total.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
