"""Two instances on one PostgreSQL database do one instance's work: nothing twice, nothing lost, no deadlock."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime

import pytest

from service.core.notices import NoticeError
from service.engine import commands, planner, running
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.store.base import Store
from tests.engine.engine_district import district
from tests.engine.engine_morning import (
    Receivers,
    at,
    broken_streams,
    messages,
    open_desk,
    results,
    says,
    step,
    told,
)

pytestmark = pytest.mark.postgres

SCHOOLS, ROOMS, CHILDREN = 3, 3, 2
MINUTES = (5, 6, 8, 12, 17, 21, 24, 31, 32, 33, 40)
ALERTS = ("prompt", "reminder", "second", "alert")

WORDS = (
    ("08:06", "school000-room0", "ok"),
    ("08:06", "school000-second", "2 battery"),
    ("08:06", "school001-room1", "1 ok 2 cable 3 away"),
    ("08:08", "school001-second", "ok except 1"),
    ("08:08", "school001-room1", "undo"),
    ("08:17", "school002-second", "mine 20"),
    ("08:21", "C", "ok"),
    ("08:21", "school002-room0", "ok"),
    ("08:31", "A", "mine 30"),
    ("08:32", "school002-room1", "1 swallowed a battery"),
    ("08:33", "school002-room1", "found"),
    ("08:33", "school000-office", "help"),
)
NOTICES = (("08:12", "away school000-room1-child0"), ("08:24", "away school002-room2"))


def jobs_at(wall: str) -> list[Callable[[Desk], None]]:
    """What people do at a minute, on whichever instance it reaches."""
    said = [
        lambda desk, p=p, t=t, n=n: says(desk, p, t, f"w{n}")
        for n, (w, p, t) in enumerate(WORDS)
        if w == wall
    ]
    given = [lambda desk, t=t: give(desk, t) for w, t in NOTICES if w == wall]
    return [*said, *given]


def give(desk: Desk, text: str) -> None:
    assert not isinstance(commands.give_notice(desk, text, "C"), NoticeError)


def play(desks: list[Desk], clock: SteppedClock) -> Receivers:
    """The whole morning, every minute of it on all desks at once."""
    receivers = Receivers()
    commands.configure(desks[0], district(SCHOOLS, ROOMS, CHILDREN), "test")
    with ThreadPoolExecutor(len(desks)) as pool:
        assert sum(pool.map(planner.plan_all, desks)) == 0
    instants = [f"{h:02}:{m:02}" for h, m in [(7, 30), *((8, m) for m in MINUTES), (9, 50), (9, 59)]]
    with ThreadPoolExecutor(len(desks)) as pool:
        for wall in instants:
            for due in _until(desks[0], at(wall)):
                clock.move_to(due)
                together(pool, desks, due, jobs_at(wall) if due == at(wall) else [], receivers)
    return receivers


def _until(desk: Desk, end: datetime) -> Iterator[datetime]:
    while (due := running.next_due(desk)) is not None and due < end:
        yield max(due, desk.clock.now())
    yield end


def together(
    pool: ThreadPoolExecutor,
    desks: list[Desk],
    now: datetime,
    jobs: list[Callable[[Desk], None]],
    receivers: Receivers,
) -> None:
    def work(n: int) -> None:
        for job in jobs[n :: len(desks)]:
            job(desks[n])
        step(desks[n], now, receivers)

    for done in [pool.submit(work, n) for n in range(len(desks))]:
        done.result(timeout=60)
    step(desks[0], now, receivers)


@pytest.fixture
def pair(postgresql_url: str) -> Iterator[tuple[list[Desk], SteppedClock]]:
    clock = SteppedClock(at("07:00"))
    desks = [open_desk(Store(postgresql_url), clock, owner) for owner in ("one", "two")]
    yield desks, clock
    for desk in desks:
        desk.store.close()


@pytest.fixture
def alone() -> Iterator[tuple[list[Desk], SteppedClock]]:
    clock = SteppedClock(at("07:00"))
    desk = open_desk(Store("sqlite://"), clock)
    desk.store.upgrade()
    yield [desk], clock
    desk.store.close()


def test_two_instances_do_the_morning_of_one_without_a_deadlock_a_loss_or_a_second_copy(
    pair: tuple[list[Desk], SteppedClock], alone: tuple[list[Desk], SteppedClock]
) -> None:
    receivers = play(*pair)
    play(*alone)
    two, one = pair[0][0], alone[0][0]

    assert {id for id, n in receivers.arrived.items() if n != 1} == set()
    assert [m.id for m in messages(two.store) if m.state not in ("accepted", "dropped")] == []
    assert broken_streams(two) == []
    assert results(two.store) == results(one.store)
    assert told(two.store, ALERTS) == told(one.store, ALERTS)
