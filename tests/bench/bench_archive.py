"""What years of record cost whoever looks: one student's year, today's board, and the proof of one day.

A day of nine thousand students is lived by the engine itself, and laid down again under earlier school days until the
journal has as many rows as wanted (`archives`); today is the lived one. A command of its own, since it fills a disk
(about 1 GB for each million rows of the journal): `python -m tests.bench archive`, or, on the server that
BELLCHECK_POSTGRES names, `python -m tests.bench.bench_archive --postgres --millions 5 50`.
"""

import argparse
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from service.engine import planner, postman, proving, running, views
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.postman import Outcome, Report
from service.engine.record import record
from service.store.base import Store
from tests.bench.archives import TODAY, Archive, FileArchive, ServerArchive
from tests.bench.figures import HEAD, Figure
from tests.bench.large_districts import CHILDREN, ROOMS, desk_over, on_postgresql, put_into_force
from tests.engine.engine_district import district
from tests.engine.engine_morning import at, says

SCHOOLS = 36
MILLIONS = (5.0, 50.0)
LOOKS = 15
BYTES_A_ROW = 1_100
"""Of disk, for each row of the journal with all that stands beside it."""

YEAR, BOARD, GROWTH, PROOF = 50.0, 100.0, 1.2, 5.0
"""The goals: milliseconds, milliseconds, times as long, seconds."""

FILL = 100_000
"""Rows a second: so that an archive of fifty million is there within the hour."""

@dataclass(frozen=True)
class Looks:
    """How long it took to look: milliseconds, milliseconds, seconds."""

    year: float
    board: float
    proof: float


def live(desk: Desk, schools: int) -> None:
    """A morning: everybody is asked, most answer, one in ten with a fault."""
    planner.plan_all(desk, TODAY)
    clock = desk.clock
    assert isinstance(clock, SteppedClock)
    for wall in ("08:05", "08:06", "08:07"):
        clock.move_to(at(wall))
        if wall == "08:06":
            for n, person in enumerate(checkers(schools)):
                if n % 20:
                    says(desk, person, "ok" if n % 10 else "2 battery, rest ok", f"m{n}")
        running.run_due(desk, clock.now())
        while errands := postman.claim(desk, clock.now()):
            reports = [(errand, Report(Outcome.ACCEPTED)) for errand in errands]
            postman.record_all(desk, reports, clock.now())


def checkers(schools: int) -> Iterator[str]:
    """Everybody who is asked."""
    return (f"school{s:03}-room{r}" for s in range(schools) for r in range(ROOMS))


def look(url: str, schools: int) -> Looks:
    """One student's year, today's board and the proof of today, warm."""
    with closing(Store(url)) as store:
        desk = desk_over(store, "08:07")
        with desk.glance() as m:
            m.book  # noqa: B018 - read once, as a service that runs has
            students = sorted(m.district.students)[:: len(m.district.students) // LOOKS]
        first = TODAY - timedelta(days=365)

        def year(n: int) -> int:
            with desk.glance() as m:
                return len(record(m, first, TODAY, student=students[n % len(students)]))

        def board(_: int) -> int:
            with desk.glance() as m:
                return len(views.board(m).schools)

        began = time.perf_counter()
        with desk.glance() as m:
            verdict = proving.prove_some(m, on=TODAY)
        proof = time.perf_counter() - began
        if not verdict.is_sound or verdict.entries < schools * ROOMS * CHILDREN:
            raise AssertionError(f"the lived day does not prove: {verdict.bad[:3]} {verdict.wrong[:3]}")
        return Looks(_warm(year, 2), _warm(board, schools), proof)


def _warm(once: Callable[[int], int], at_least: int) -> float:
    """Milliseconds of a look at what was looked at before."""
    took = []
    for n in range(2 * LOOKS):
        began = time.perf_counter()
        found = once(n)
        took.append(time.perf_counter() - began)
        if found < at_least:
            raise AssertionError(f"only {found} of at least {at_least} were found")
    return median(took[LOOKS:]) * 1000


@contextmanager
def on_sqlite(millions: float) -> Iterator[str]:
    """The address of a file of our own, where there is room for so many rows."""
    with TemporaryDirectory() as folder:
        need = millions * 1e6 * BYTES_A_ROW
        if shutil.disk_usage(folder).free < need * 1.2:
            raise RuntimeError(f"{need / 1e9:.0f} GB are needed in {folder}; name another folder in TMPDIR")
        yield f"sqlite:///{Path(folder) / 'archive.db'}"


@contextmanager
def lived(url: str, schools: int) -> Iterator[Archive]:
    """An archive of the one lived day."""
    with closing(Store(url)) as store:
        store.upgrade()
        put_into_force(store, district(schools, ROOMS, CHILDREN))
        live(desk_over(store), schools)
        made = FileArchive if store.dialect == "sqlite" else ServerArchive
    with closing(made(url)) as archive:
        yield archive


def figures(
    millions: tuple[float, float] = MILLIONS, schools: int = SCHOOLS, *, postgres: bool = False
) -> Iterator[Figure]:
    """The same looks at a small and at a large archive, and how fast it grew."""
    with ExitStack() as held:
        url = held.enter_context(on_postgresql() if postgres else on_sqlite(millions[1]))
        archive = held.enter_context(lived(url, schools))
        archive.grow_to(int(millions[0] * 1e6))
        small = look(url, schools)
        began = time.perf_counter()
        grown = archive.grow_to(int(millions[1] * 1e6))
        took = time.perf_counter() - began
        large, size = look(url, schools), archive.size()
    name = f"{millions[1]:g} million rows of the journal{' on PostgreSQL' if postgres else ''}"
    yield Figure(f"{name}: one student's year", "the goal", YEAR, large.year, "ms")
    yield Figure(f"{name}: today's board", "the goal", BOARD, large.board, "ms")
    yield Figure(f"{name}: proof of one day", "the goal", PROOF, large.proof, "s")
    yield Figure("the same, one student's year", f"with {millions[0]:g} million", small.year, large.year, "ms")
    yield Figure("the same, today's board", f"with {millions[0]:g} million", small.board, large.board, "ms")
    each = size / millions[1] / 1e6
    yield Figure("the same, bytes a row with all beside it", "what is reckoned with", BYTES_A_ROW, each, "bytes")
    yield Figure("laying earlier days down, rows of all tables", "the goal", FILL, grown / took, "rows/s")


def main() -> None:
    """Measure an archive of the size that is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--millions", type=float, nargs=2, default=MILLIONS)
    parser.add_argument("--schools", type=int, default=SCHOOLS, help="of the day that is lived")
    parser.add_argument("--postgres", action="store_true")
    given = parser.parse_args()
    small, large = given.millions
    print(HEAD, flush=True)
    for figure in figures((small, large), given.schools, postgres=given.postgres):
        print(figure, flush=True)


if __name__ == "__main__":
    main()
