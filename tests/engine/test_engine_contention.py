"""Everything at once on one PostgreSQL database: replies, timers, notices and outcomes about the same few checks."""

import random
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date, datetime, timedelta
from itertools import count
from threading import Event

import pytest
from sqlmodel import select

from service.engine import (
    chaser,
    commands,
    gathering,
    hearing,
    holding,
    planner,
    prompter,
    running,
    summaries,
)
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.store import chases, inbox, marks, rounds
from service.store.base import Store
from service.store.tables import CheckRow, InboxRow
from tests.engine.engine_district import district
from tests.engine.engine_morning import (
    DAY,
    Receivers,
    at,
    broken_streams,
    messages,
    open_desk,
    results,
    says,
    step,
)

pytestmark = pytest.mark.postgres

TODAY = date.fromisoformat(DAY)
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


@pytest.fixture
def pair(postgresql_url: str) -> Iterator[tuple[Desk, Desk]]:
    """Two instances, of which the second waits for no lock longer than half a second."""
    stores = [Store(postgresql_url), Store(postgresql_url, wait=0.5)]
    yield open_desk(stores[0], SteppedClock(at("07:00"))), open_desk(stores[1], SteppedClock(at("07:00")), "two")
    for store in stores:
        store.close()


def move_to(desks: Iterable[Desk], wall: str) -> datetime:
    for desk in desks:
        assert isinstance(desk.clock, SteppedClock)
        desk.clock.move_to(at(wall))
    return at(wall)


def open_checks(desk: Desk) -> set[str]:
    with desk.store.reading() as tx:
        return {row.school for row in tx.exec(select(CheckRow)) if row.date == TODAY and row.state != "closed"}


def test_a_day_that_another_instance_is_ending_keeps_no_other_day_from_ending(pair: tuple[Desk, Desk]) -> None:
    one, other = pair
    commands.configure(one, district(3, 1, 1), "C")
    step(one, move_to(pair, "08:05"), Receivers())
    with one.store.reading() as tx:
        ends = max(mark.at for mark in marks.with_prefix(tx, "day/") if mark.at and TODAY.isoformat() in mark.key)
    for desk in pair:
        assert isinstance(desk.clock, SteppedClock)
        desk.clock.move_to(ends)

    with one.moment(ends) as m:
        for row in chases.open_rows(m.tx):
            chases.save(m.tx, row, wake_at=ends)

    with one.moment(ends) as m:
        # As far as the other instance has come: it holds the day, and none of its chases yet, which wait all the same.
        assert rounds.lock_free_days(m.tx, [("school001", TODAY)])
        ended = summaries.end_days(other, ends)
        stepped = chaser.step_due(other, ends)
        assert (ended, stepped, open_checks(other)) == (2, 0, {"school001"})

    assert summaries.end_days(other, ends) == 1
    assert summaries.end_days(one, ends) == 0
    assert open_checks(one) == set()
    assert broken_streams(one) == []


def test_of_two_who_end_a_day_at_once_one_does_and_the_other_does_not_wait(pair: tuple[Desk, Desk]) -> None:
    one, other = pair
    commands.configure(one, district(1, 2, 1), "C")
    with one.moment() as first, other.moment() as second:
        assert holding.free_days(first, [("school000", TODAY)])
        assert not holding.free_days(second, [("school000", TODAY)])


def test_a_round_of_which_another_instance_holds_a_check_keeps_no_other_round_waiting(
    pair: tuple[Desk, Desk],
) -> None:
    one, other = pair
    commands.configure(one, district(rooms=3, children=1), "C")
    now = move_to(pair, "08:05")

    with one.moment() as m:
        rounds.lock_checks(m.tx, ["ck-school000-room1-child0-morning-2026-10-05"])
        asked = prompter.ask_due(other, now)

    prompted = sorted(row.person for row in messages(one.store) if row.purpose == "prompt")
    assert prompted == ["school000-room0", "school000-room2"]
    assert (asked, prompter.ask_due(other, now)) == (2, 1)


def test_whose_message_has_to_wait_is_not_overtaken_by_their_own_next_words(
    pair: tuple[Desk, Desk], monkeypatch: pytest.MonkeyPatch
) -> None:
    one, _ = pair
    commands.configure(one, district(rooms=2, children=1), "C")
    for n, person in enumerate(["room0", "room1", "room0"]):
        move_to(pair, f"08:1{n}")
        says(one, f"school000-{person}", "ok", f"m{n}")
    tried: list[str] = []
    monkeypatch.setattr(hearing, "_read_one", lambda _desk, _now, id: bool(tried.append(id)))

    hearing._one_by_one(one, at("08:13"))

    with one.store.reading() as tx:
        ids = {row.external_id: row.id for row in tx.exec(select(InboxRow))}
    assert tried == [ids["m0"], ids["m1"]]


def test_a_message_about_what_another_instance_holds_keeps_no_other_waiting(pair: tuple[Desk, Desk]) -> None:
    one, other = pair
    commands.configure(one, district(rooms=2, children=1), "C")
    now = move_to(pair, "08:05")
    step(one, now, Receivers())
    for n, (person, words) in enumerate([("room0", "1 battery"), ("room1", "ok"), ("room0", "undo")]):
        says(one, f"school000-{person}", words, f"m{n}")

    with one.moment() as m:
        rounds.lock_checks(m.tx, ["ck-school000-room0-child0-morning-2026-10-05"])
        assert hearing.read_all(other, now) == 1
        assert inbox.has_unread(m.tx)

    assert hearing.read_all(other, now) == 2
    assert {id: result for id, result in results(one.store).items() if id.endswith(DAY)} == {
        "ck-school000-room0-child0-morning-2026-10-05": None,
        "ck-school000-room1-child0-morning-2026-10-05": "working",
    }


def test_a_school_whose_day_another_instance_holds_is_planned_after_all_others(pair: tuple[Desk, Desk]) -> None:
    one, other = pair
    commands.configure(one, district(3, 1, 1), "C")
    plans = planner.each_school(other)

    with one.moment() as m:
        assert holding.free_days(m, [("school000", TODAY)])
        assert [next(plans), next(plans)] == [0, 0]
        assert sorted(other.planned) == ["school001", "school002"]

    assert list(plans) == [0]
    assert sorted(other.planned) == ["school000", "school001", "school002"]


def test_a_tray_that_another_instance_is_at_keeps_nobody_else_waiting(pair: tuple[Desk, Desk]) -> None:
    one, other = pair
    commands.configure(one, district(rooms=2, children=1), "C")
    step(one, move_to(pair, "08:05"), Receivers())
    move_to(pair, "08:10")
    chaser.step_due(one, at("08:10"))

    with one.moment() as m:
        rounds.lock_checks(m.tx, ["ck-school000-room0-child0-morning-2026-10-05"])
        told = gathering.empty_due(other, at("08:10"))

    reminded = [row.person for row in messages(one.store) if row.purpose == "reminder"]
    assert reminded == ["school000-room1"]
    assert (told, gathering.empty_due(other, at("08:10"))) == (1, 1)
