"""The waker with its real scheduler: on a clock that runs fast, things happen when they are due."""

import asyncio
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from threading import Event

import pytest
from sqlalchemy import update
from sqlmodel import select

from service.engine import commands, planner, running
from service.engine.clock import FastClock, SteppedClock
from service.engine.commands import Received
from service.engine.held import HEARTBEAT
from service.engine.waker import SLICE, Waker, catch_up
from service.store import marks
from service.store.errors import DatabaseBusy
from service.store.tables import InboxRow, OutboxRow, RoundRow
from service.wiring import Service
from tests.channels.channel_receivers import Receiver, answers
from tests.engine.engine_morning import Receivers, at, play_to
from tests.engine.lanes_made import documents, service_over


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    """A service at 08:04, its waker not started, its lanes idle."""
    made = service_over(tmp_path, FastClock(at("08:04"), 1), documents({}, rooms=40, children=2))
    yield made
    made.close()


def until(true: Callable[[], bool], seconds: float = 8.0) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it did not happen in time"
        time.sleep(0.02)


def count(service: Service, kind: type, **having: str) -> int:
    with service.desk.store.reading() as tx:
        found = tx.exec(select(kind)).all()
    return sum(all(getattr(row, name) == value for name, value in having.items()) for row in found)


def test_a_whole_silence_is_asked_reminded_and_told_on_a_fast_clock(tmp_path: Path) -> None:
    async def morning() -> None:
        async with Receiver(answers("200 OK")) as chat:
            people = ("school000-room0", "school000-second", "C", "A")
            clock = FastClock(at("08:04"), 200)
            clock.pause(True)
            service = service_over(
                tmp_path, clock, documents(dict.fromkeys(people, chat.url), rooms=1, children=2)
            )
            service.lanes.start()
            await asyncio.to_thread(service.waker.start)
            clock.pause(False)
            service.wake()
            while len(chat.requests) < 4:
                await asyncio.sleep(0.02)
                assert clock.now() < at("08:40"), "the coordinator should have been told at 08:20"
            await asyncio.to_thread(service.waker.stop)
            await service.lanes.stop()
            with service.desk.store.reading() as tx:
                sent = sorted(tx.exec(select(OutboxRow)).all(), key=lambda row: row.created_at)
            told = [(row.person, row.purpose) for row in sent][:4]
            assert told == [
                ("school000-room0", "prompt"),
                ("school000-room0", "reminder"),
                ("school000-second", "alert"),
                ("C", "alert"),
            ]
            for row, due in zip(sent, ("08:05", "08:10", "08:15", "08:20"), strict=False):
                assert timedelta() <= row.created_at - at(due) < timedelta(seconds=200 * 0.5)
            service.close()

    asyncio.run(morning())


def test_forty_rounds_and_all_their_deadlines_are_one_date_job_and_three_interval_jobs(
    service: Service,
) -> None:
    service.waker.start()
    try:
        until(lambda: service.waker.pulse.ran is not None)
        time.sleep(0.1)
        assert service.waker.jobs == ("due", "expected", "heartbeat", "look")
        service.desk.clock.move_to(at("08:05"))
        service.wake()
        until(lambda: count(service, RoundRow, state="asked") == 40)
        time.sleep(0.1)
        assert set(service.waker.jobs) <= {"due", "expected", "heartbeat", "look"}
    finally:
        service.waker.stop()


def test_what_arrives_is_read_at_once_when_the_waker_is_told(service: Service) -> None:
    service.waker.start()
    try:
        until(lambda: service.waker.pulse.ran is not None)
        commands.receive(service.desk, Received("chat", "1", "a-room", "ok", "C", proven=True))
        began = time.monotonic()
        service.wake()
        until(lambda: count(service, InboxRow, state="read") == 1)
        assert time.monotonic() - began < 1.5
    finally:
        service.waker.stop()


def test_a_pass_that_fails_says_so_and_is_tried_again(
    service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    passes: list[int] = []
    real = running.run_due

    def fails_once(*given: object) -> int:
        passes.append(1)
        if len(passes) == 1:
            raise DatabaseBusy("held by another process")
        return real(*given)

    monkeypatch.setattr(running, "run_due", fails_once)
    service.waker.start()
    try:
        until(lambda: service.waker.pulse.trouble is not None)
        assert service.waker.pulse.trouble == "held by another process"
        until(lambda: service.waker.pulse.trouble is None and service.waker.pulse.ran is not None)
    finally:
        service.waker.stop()


@pytest.mark.parametrize(("away", "held"), [(timedelta(seconds=50), False), (timedelta(minutes=40), True)])
def test_silence_waits_for_senders_after_an_outage_and_not_after_a_quick_restart(
    service: Service, away: timedelta, held: bool
) -> None:
    now = service.desk.clock.now()
    with service.desk.moment() as m:
        marks.set(m.tx, HEARTBEAT, now - away, {})
    catch_up(service.desk, now)
    assert service.desk.silence_held_until == (now + timedelta(seconds=90) if held else None)


def test_a_grace_that_was_cut_short_by_another_crash_runs_on(service: Service) -> None:
    now = service.desk.clock.now()
    end = now + timedelta(seconds=40)
    with service.desk.moment() as m:
        marks.set(m.tx, HEARTBEAT, now - timedelta(seconds=10), {"held": end.isoformat()})
    catch_up(service.desk, now)
    assert service.desk.silence_held_until == end


def test_the_first_start_of_all_waits_for_nobody(service: Service) -> None:
    assert catch_up(service.desk, service.desk.clock.now()) is None
    assert service.desk.silence_held_until is None


def test_the_heartbeat_tells_when_the_service_last_ran(service: Service) -> None:
    service.waker.start()
    try:

        def beaten() -> bool:
            with service.desk.glance() as m:
                return marks.get(m.tx, HEARTBEAT) is not None

        until(beaten)
    finally:
        service.waker.stop()


def test_woken_again_and_again_from_many_threads_it_still_runs_every_time(tmp_path: Path) -> None:
    service = service_over(tmp_path, SteppedClock(at("07:00")), documents({}, rooms=1, children=1))
    waker = Waker(service.desk)
    waker.start()
    try:
        for n in range(30):
            commands.receive(service.desk, Received("chat", str(n), "a-room", "ok", "C", proven=True))
            waker.wake()
        until(lambda: count(service, InboxRow, state="unread") == 0, seconds=4)
    finally:
        waker.stop()
        service.close()


def test_what_falls_due_while_many_schools_are_planned_waits_for_a_few_of_them_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = SteppedClock(at("07:00"))
    service = service_over(tmp_path, clock, documents({}, schools=40, rooms=1, children=1))
    play_to(service.desk, "08:06", Receivers())
    service.desk.planned.clear()
    planned: list[bool] = []
    real = planner.plan_school

    def plan_one(*given: object) -> int:
        if len(planned) == 10:
            clock.move_to(at("08:10"))
        planned.append(count(service, OutboxRow, purpose="reminder") > 0)
        return real(*given)

    monkeypatch.setattr(planner, "plan_school", plan_one)
    service.waker.start()
    try:
        until(lambda: len(planned) == 80)
        assert 0 < planned[10:].index(True) <= 2 * SLICE
    finally:
        service.waker.stop()
        service.close()


def test_a_stop_in_the_midst_of_planning_waits_for_a_few_schools_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    service = service_over(
        tmp_path, SteppedClock(at("07:00")), documents({}, schools=40, rooms=1, children=1)
    )
    service.desk.planned.clear()
    begun, planned = Event(), []
    real = planner.plan_school

    def plan_one(*given: object) -> int:
        planned.append(1)
        begun.set()
        return real(*given)

    monkeypatch.setattr(planner, "plan_school", plan_one)
    service.waker.start()
    assert begun.wait(8)
    service.waker.stop()
    assert len(planned) <= 4 * SLICE
    service.close()


def test_a_stop_while_the_scheduler_puts_a_job_away_is_no_error(service: Service) -> None:
    service.waker.start()
    scheduler = service.waker._scheduler
    service.waker.stop()

    scheduler.remove_job("due")


def test_what_was_on_its_way_when_the_service_went_down_is_still_told_after_its_time(service: Service) -> None:
    desk = service.desk
    desk.clock.move_to(at("08:05"))
    running.run_due(desk, at("08:05"))
    with desk.moment(at("08:05")) as m:
        marks.set(m.tx, HEARTBEAT, m.now, {})
        m.tx.exec(update(OutboxRow).values(state="claimed", owner="gone", lease_until=at("08:06")))
    desk.clock.move_to(at("08:25"))
    assert catch_up(desk, at("08:25")) == timedelta(minutes=20)
    with desk.store.reading() as tx:
        prompts = tx.exec(select(OutboxRow)).all()
    assert len(prompts) == 40
    assert all(row.give_up_at is not None and row.give_up_at > at("08:25") for row in prompts)


def test_a_look_before_the_first_pass_has_ended_finds_nothing_strange(service: Service) -> None:
    service.waker.pulse.planned = service.desk.clock.now()
    service.waker._look()
