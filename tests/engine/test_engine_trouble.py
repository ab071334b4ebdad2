"""Trouble in mid-morning: each time a clear error, nothing lost, and on it goes when the trouble is over."""

import sqlite3
import stat
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event
from sqlmodel import select

from service.engine import commands, postman, running
from service.engine.clock import RealClock, SteppedClock
from service.engine.desk import Desk
from service.engine.postman import Outcome, Report
from service.store.base import (
    DatabaseBusy,
    DatabaseFull,
    DatabaseReadOnly,
    Store,
)
from service.store.inbox import LIMIT_BYTES
from service.store.tables import InboxRow
from tests.engine.engine_district import district
from tests.engine.engine_morning import (
    Receivers,
    at,
    broken_streams,
    messages,
    open_desk,
    play_to,
    results,
    says,
    told,
)

CHECKER = "school000-room0"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "bellcheck.db"


@pytest.fixture
def morning(file: Path) -> Iterator[Desk]:
    """A desk at 08:07, its round asked and nobody heard of yet."""
    store = Store(f"sqlite:///{file}", wait=0.2)
    store.upgrade()
    desk = open_desk(store, SteppedClock(at("07:00")))
    commands.configure(desk, district(), "test")
    play_to(desk, "08:07", Receivers())
    yield desk
    store.close()


@contextmanager
def full(store: Store, file: Path) -> Iterator[None]:
    """No page can be added to the database."""

    def limit(connection: Any) -> None:
        connection.exec_driver_sql("PRAGMA max_page_count=1")

    event.listen(store._engine, "begin", limit)
    try:
        yield
    finally:
        event.remove(store._engine, "begin", limit)
        store.close()


@contextmanager
def read_only(store: Store, file: Path) -> Iterator[None]:
    """Writing is forbidden to every connection."""

    def limit(connection: Any) -> None:
        connection.exec_driver_sql("PRAGMA query_only=ON")

    event.listen(store._engine, "begin", limit)
    try:
        yield
    finally:
        event.remove(store._engine, "begin", limit)


@contextmanager
def held(store: Store, file: Path) -> Iterator[None]:
    """Another process is writing and does not come to an end."""
    other = sqlite3.connect(file, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        yield
    finally:
        other.execute("ROLLBACK")
        other.close()


def work_on(desk: Desk) -> None:
    """Silence passes on to the next, and words arrive."""
    running.run_due(desk, at("08:16"))
    says(desk, CHECKER, "x" * 60_000, "m1")


@pytest.mark.parametrize(
    ("trouble", "error"), [(full, DatabaseFull), (read_only, DatabaseReadOnly), (held, DatabaseBusy)]
)
def test_a_database_that_takes_nothing_is_said_and_the_morning_goes_on_afterwards(
    morning: Desk, file: Path, trouble: Callable[..., Any], error: type[Exception]
) -> None:
    with trouble(morning.store, file):
        with pytest.raises(error):
            says(morning, CHECKER, "x" * 60_000, "m1")
        with pytest.raises(error):
            work_on(morning)

    says(morning, CHECKER, "1 ok", "m1")
    play_to(morning, "09:55", Receivers())
    standing = [result for check, result in sorted(results(morning.store).items()) if "2026-10-05" in check]
    assert standing == ["working", "unanswered", "unanswered"]
    assert broken_streams(morning) == []


def test_a_file_made_read_only_by_its_owner_is_said_with_what_to_look_at(morning: Desk, file: Path) -> None:
    morning.store.close()
    file.chmod(stat.S_IRUSR)
    with read_only(morning.store, file), pytest.raises(DatabaseReadOnly, match="Check who owns the file"):
        says(morning, CHECKER, "ok", "m1")


@pytest.mark.parametrize("outcome", [Outcome.REFUSED, Outcome.TIMED_OUT])
def test_a_receiver_that_fails_for_an_hour_delays_nobody_elses_turn(desk: Desk, outcome: Outcome) -> None:
    commands.configure(desk, district(), "test")

    class Failing(Receivers):
        def take(self, errand: postman.Errand) -> Report:
            if errand.person == CHECKER and desk.clock.now() < at("09:05"):
                return Report(outcome, "500")
            return super().take(errand)

    receivers = Failing()
    play_to(desk, "09:55", receivers)

    first = {m.person: m.created_at for m in messages(desk.store) if m.purpose in ("second", "alert")}
    assert first["school000-second"] <= at("08:09")
    assert set(receivers.arrived.values()) == {1}
    assert {key.split("/")[2] for key in told(desk.store, ["second", "alert"])} == {
        "school000-second",
        "C",
        "A",
    }
    assert all(m.state in ("accepted", "dropped", "timed_out", "refused") for m in messages(desk.store))


def test_a_clock_set_back_an_hour_asks_nobody_twice_and_loses_no_reply(desk: Desk) -> None:
    shown = [at("07:00")]
    desk.clock = RealClock(lambda: shown[0])
    commands.configure(desk, district(), "test")

    def step(wall: str) -> None:
        shown[0] = at(wall)
        running.run_due(desk, desk.clock.now())
        for errand in postman.claim(desk, desk.clock.now()):
            postman.record(desk, errand, Report(Outcome.ACCEPTED), desk.clock.now())

    step("08:06")
    step("07:06")
    says(desk, CHECKER, "ok", "m1")
    step("07:10")
    step("08:30")

    assert [m.purpose for m in messages(desk.store) if m.person == CHECKER].count("prompt") == 1
    assert [r for c, r in results(desk.store).items() if "2026-10-05" in c] == ["working"] * 3
    with desk.store.reading() as tx:
        [row] = tx.exec(select(InboxRow))
    assert row.received_at == at("08:06")


def test_a_reply_of_a_megabyte_is_kept_from_its_beginning_flagged_and_answered_with_a_question(
    morning: Desk,
) -> None:
    begun = time.perf_counter()
    says(morning, CHECKER, "1 ok " + "and so on " * 100_000, "m1")
    play_to(morning, "08:08", Receivers())
    took = timedelta(seconds=time.perf_counter() - begun)

    with morning.store.reading() as tx:
        [row] = tx.exec(select(InboxRow))
    assert (row.state, row.truncated, len(row.text.encode())) == ("read", True, LIMIT_BYTES)
    assert row.text.startswith("1 ok and so on")
    standing = {result for check, result in results(morning.store).items() if "2026-10-05" in check}
    assert standing == {None}
    assert [m.purpose for m in messages(morning.store) if m.in_reply_to == "m1"] == ["question"]
    assert took < timedelta(seconds=20)
