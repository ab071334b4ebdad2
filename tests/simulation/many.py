"""Many seeds, each played in a process of its own, and what they came to together."""

import sys
import time
from collections import Counter
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, field
from multiprocessing import get_context

from tests.simulation.makers import maker
from tests.simulation.nature import nature
from tests.simulation.runs import Run, acted, play
from tests.simulation.stories import STORIES
from tests.simulation.transitions import Taken, wanted

SAY_EVERY = 60.0
COUNTED = (
    "steps", "entries", "happenings", "replies", "messages", "attempts", "line faults", "weather", "crashes",
    "pauses", "notice", "withdraw", "change", "says", "press",
)  # fmt: skip
"""Steps are instants at which the checker looked; entries are the journal's."""


@dataclass
class Sum:
    """What all runs came to."""

    districts: Counter[str] = field(default_factory=Counter)
    student_days: int = 0
    calm: int = 0
    counts: Counter[str] = field(default_factory=Counter)
    taken: Taken = field(default_factory=Taken)
    wrong: list[Run] = field(default_factory=list)
    since: float = field(default_factory=time.monotonic)

    def add(self, run: Run) -> None:
        self.districts["directed" if run.name else nature(run.seed).name] += 1
        self.student_days += run.student_days
        self.calm += run.calm
        self.counts.update(run.counts)
        self.taken.times.update(run.taken.times)
        if run.wrong:
            self.wrong.append(run)

    def gaps(self) -> list[str]:
        """Which transitions a run with the directed stories left out."""
        return [f"{' · '.join(t)} was never taken" for t in self.taken.missing()]

    def __str__(self) -> str:
        seconds = time.monotonic() - self.since
        took = len(wanted()) - len(self.taken.missing())
        districts = ", ".join(f"{n} {name}" for name, n in sorted(self.districts.items()))
        return (
            f"{self.student_days:,} student-days ({self.calm:,} calm, {self.student_days - self.calm:,} troubled) in"
            f" {self.districts.total()} districts ({districts}) in {seconds:,.0f} s"
            f" ({self.student_days / max(seconds, 0.001):,.0f}/s): "
            + ", ".join(f"{self.counts[name]:,} {name}" for name in COUNTED)
            + f"; transitions {took}/{len(wanted())}; {len(self.wrong)} failed"
        )


def simulate(student_days: int, first: int, workers: int, database: str, instances: int, keep: int) -> Sum:
    """Play the directed stories, then seed after seed until enough student-days were played or `keep` of all failed."""
    total, said = Sum(), time.monotonic()
    told = iter(range(len(STORIES)))
    seeds = iter(range(first, sys.maxsize))
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        under_way: set[Future[Run]] = set()
        while under_way or not total.student_days:
            while len(under_way) <= workers and (story := next(told, None)) is not None:
                under_way.add(pool.submit(one_story, story, database, instances))
            enough = total.student_days >= student_days or len(total.wrong) >= keep
            while not enough and len(under_way) <= workers:
                under_way.add(pool.submit(one, next(seeds), database, instances))
            done, under_way = wait(under_way, return_when=FIRST_COMPLETED)
            for run in [each.result() for each in done]:
                total.add(run)
                if run.wrong:
                    print(f"{run.label} fails: {run.wrong}", flush=True)
            if time.monotonic() - said > SAY_EVERY:
                said = time.monotonic()
                print(total, flush=True)
    return total


def one_story(nth: int, database: str, instances: int) -> Run:
    """One directed story in a process of its own."""
    return _to_send(acted(STORIES[nth], maker(database, instances)))


def one(seed: int, database: str, instances: int) -> Run:
    """One seed in a process of its own."""
    return _to_send(play(seed, None, maker(database, instances)))


def _to_send(run: Run) -> Run:
    """The run without what cannot be sent back, or need not be."""
    run.error = None
    if not run.wrong:
        run.happened = []
    return run
