"""Everything at once on one PostgreSQL database: replies, timers, notices and outcomes about the same few checks."""

import random
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from itertools import count
from threading import Event

import pytest

from service.engine import commands, gathering, planner, prompter, running
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.store import rounds
from service.store.base import Store
from tests.engine.engine_district import district
from tests.engine.engine_morning import Receivers, at, broken_streams, messages, open_desk, says, step

pytestmark = pytest.mark.postgres

MINUTES = 60
WORDS = (
    "ok",
    "1 battery",
    "2 ok",
    "3 cable",
    "1 away",
    "undo",
    "mine 10",
    "not me",
    "wait 5",
    "fixed",
    "help",
)
PEOPLE = ("school000-room0", "school000-second", "school001-room0", "school001-second", "C", "A")
NOTICES = ("away {student}", "back {student}", "delay 10 min", "away {second}", "back {second}")


def speaker(desk: Desk, seed: int, ids: "count[int]") -> Callable[[], None]:
    chance = random.Random(seed)

    def speak() -> None:
        says(desk, chance.choice(PEOPLE), chance.choice(WORDS), f"m{next(ids)}")
        running.run_due(desk, desk.clock.now())

    return speak


def coordinator(desk: Desk, seed: int) -> Callable[[], None]:
    chance = random.Random(seed)

    def act() -> None:
        school = chance.choice(("school000", "school001"))
        words = chance.choice(NOTICES).format(student=f"{school}-room0-child1", second=f"{school}-second")
        commands.give_notice(desk, words, "C", school)
        planner.plan_all(desk)

    return act


def instance(desk: Desk, receivers: Receivers) -> Callable[[], None]:
    return lambda: step(desk, desk.clock.now(), receivers)


def test_replies_timers_notices_and_outcomes_about_the_same_checks_never_wait_in_a_circle(
    postgresql_url: str,
) -> None:
    clock, receivers, ids = SteppedClock(at("07:00")), Receivers(), count()
    desks = [open_desk(Store(postgresql_url), clock, f"i{n}") for n in range(5)]
    commands.configure(desks[0], district(2, 1, 4), "test")
    clock.move_to(at("08:05"))
    over = Event()
    works = [
        instance(desks[0], receivers),
        instance(desks[1], receivers),
        speaker(desks[2], 1, ids),
        speaker(desks[3], 2, ids),
        coordinator(desks[4], 3),
    ]

    def keep_on(work: Callable[[], None]) -> int:
        done = 0
        while not over.is_set():
            work()
            done += 1
        return done

    with ThreadPoolExecutor(len(works)) as pool:
        running_now = [pool.submit(keep_on, work) for work in works]
        try:
            for _ in range(MINUTES):
                over.wait(0.1)
                clock.move_to(clock.now() + timedelta(minutes=1))
        finally:
            over.set()
        assert min(job.result(timeout=30) for job in running_now) > 0

    step(desks[0], clock.now(), receivers)
    assert broken_streams(desks[0]) == []
    for desk in desks:
        desk.store.close()


def test_a_tray_that_another_instance_is_at_keeps_nobody_else_waiting(postgresql_url: str) -> None:
    stores = [Store(postgresql_url), Store(postgresql_url, wait=0.5)]
    one, other = (open_desk(store, SteppedClock(at("07:00")), str(n)) for n, store in enumerate(stores))
    commands.configure(one, district(rooms=2, children=1), "C")
    for desk in (one, other):
        desk.clock.move_to(at("08:05"))
    prompter.ask_due(one, at("08:05"))

    with one.moment() as m:
        rounds.lock_checks(m.tx, ["ck-school000-room0-child0-morning-2026-10-05"])
        told = gathering.empty_due(other, at("08:05"))

    assert [row.person for row in messages(one.store)] == ["school000-room1"]
    assert (told, gathering.empty_due(other, at("08:05"))) == (1, 1)
    for store in stores:
        store.close()
