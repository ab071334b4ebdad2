"""Whether all is well and what a configuration would do to today, judged from the database alone."""

import time
from copy import deepcopy
from datetime import timedelta
from pathlib import Path

import pytest

from service.engine import commands, planner, running
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.effects import effects_of
from service.engine.health import health
from service.engine.held import HEARTBEAT
from service.engine.server_time import ServerTime
from service.engine.waker import Waker
from service.store import marks
from service.store.base import Store
from tests.engine.engine_district import district
from tests.engine.engine_morning import at, open_desk, says


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """A planned morning at 07:00, one room of three children."""
    store = Store(f"sqlite:///{tmp_path / 'health.db'}")
    store.upgrade()
    made = open_desk(store, SteppedClock(at("07:00")))
    commands.configure(made, district(), "C")
    planner.plan_all(made)
    return made


def beat(desk: Desk, ago: timedelta, **body: str) -> None:
    with desk.moment() as m:
        marks.set(m.tx, HEARTBEAT, m.now - ago, body)


def wrongs(desk: Desk) -> str:
    with desk.glance() as m:
        return "; ".join(health(m).wrongs)


def test_a_fresh_heartbeat_and_nothing_stuck_is_well(desk: Desk) -> None:
    beat(desk, timedelta(seconds=19))
    with desk.glance() as m:
        assert str(health(m)) == "well: heartbeat 19 s ago, nothing is stuck"


def test_no_heartbeat_an_old_one_and_a_failing_pass_are_each_said_with_what_to_do(desk: Desk) -> None:
    assert "start `bellcheck serve`" in wrongs(desk)
    beat(desk, timedelta(seconds=91))
    assert "no heartbeat for 91 s" in wrongs(desk)
    beat(desk, timedelta(seconds=1), trouble="the disk is full")
    assert wrongs(desk) == "its last pass failed: the disk is full"


def test_a_message_that_does_not_leave_and_a_reply_nobody_reads_are_said(desk: Desk) -> None:
    desk.clock.move_to(at("08:05"))
    running.run_due(desk, desk.clock.now())
    says(desk, "school000-room0", "1 ok", "r1")
    desk.clock.move_to(at("08:07:30"))
    beat(desk, timedelta(seconds=5))
    assert "a message has been due for 150 s" in wrongs(desk)
    assert "a reply has not been read" in wrongs(desk)


def effects(desk: Desk, change: dict[str, object]) -> list[str]:
    documents = deepcopy(district())
    student = documents["students"]["school000-room0-child1"]
    if change:
        student["routines"]["morning"].update(change)
    else:
        del documents["students"]["school000-room0-child1"]
    with desk.glance() as m:
        return [str(effect) for effect in effects_of(m, documents)]


def test_before_applying_it_is_said_which_checks_of_today_move_go_or_stay(desk: Desk) -> None:
    id = "ck-school000-room0-child1-morning-2026-10-05"
    assert effects(desk, {"kind": "daily"}) == []
    assert effects(desk, {}) == [f"{id}: no check today"]
    moved = effects(desk, {"when": {"at": "08:30"}})
    assert moved == [f"{id}: moves from 08:05 school000-room0 to 08:30 school000-room0"]
    desk.clock.move_to(at("08:05"))
    running.run_due(desk, desk.clock.now())
    assert effects(desk, {}) == [f"{id}: no check today (already asked: they are told)"]


class ApartTime(ServerTime):
    """A server whose clock is this far from ours."""

    def __init__(self, off: timedelta) -> None:
        self.off = off

    def measure(self) -> timedelta:
        return self.off


@pytest.mark.parametrize(("seconds", "held"), [(1, False), (29, False), (31, True), (-31, True)])
def test_a_clock_half_a_minute_off_holds_everything_back(desk: Desk, seconds: int, held: bool) -> None:
    said: list[bool] = []
    waker = Waker(desk, server_time=ApartTime(timedelta(seconds=seconds)), held=said.append)
    waker.start()
    while not said:
        time.sleep(0.01)
    waker.stop()
    assert said[0] is held
