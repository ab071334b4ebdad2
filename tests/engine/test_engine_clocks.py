"""Time: a clock never runs backwards, and on PostgreSQL it is the server's, however wrong the machine is."""

from datetime import UTC, datetime, timedelta
from queue import Queue

import pytest

from service.engine import server_time
from service.engine.clock import RealClock, wall_now
from service.engine.desk import Desk
from service.engine.health import health
from service.engine.held import HEARTBEAT
from service.engine.server_time import ServerTime
from service.engine.waker import Waker
from service.store import marks
from service.store.base import Store
from service.store.journal import Journal
from tests.engine.engine_morning import KEY

NOON = datetime(2026, 10, 5, 12, tzinfo=UTC)


def test_a_clock_set_back_an_hour_holds_until_time_has_caught_up() -> None:
    shown = iter(
        [NOON, NOON, NOON - timedelta(hours=1), NOON - timedelta(minutes=1), NOON + timedelta(seconds=1)]
    )
    clock = RealClock(lambda: next(shown))
    assert [clock.now() for _ in range(4)] == [NOON, NOON, NOON, NOON + timedelta(seconds=1)]


@pytest.mark.postgres
@pytest.mark.parametrize("off", [timedelta(hours=-1), timedelta(seconds=40)])
def test_on_postgresql_due_times_follow_the_server_when_the_machine_is_wrong(
    postgresql_url: str, monkeypatch: pytest.MonkeyPatch, off: timedelta
) -> None:
    store = Store(postgresql_url)
    monkeypatch.setattr(server_time, "wall_now", lambda: wall_now() + off)
    here = ServerTime(store)
    assert abs(here.measure() + off) < timedelta(seconds=2)
    assert abs(here.read() - wall_now()) < timedelta(seconds=2)
    store.close()


@pytest.mark.postgres
@pytest.mark.parametrize(("off", "held"), [(0, False), (5, False), (31, True)])
def test_an_instance_whose_clock_is_off_says_so_and_far_off_it_sends_nothing(
    postgresql_url: str, monkeypatch: pytest.MonkeyPatch, off: int, held: bool
) -> None:
    store = Store(postgresql_url)
    monkeypatch.setattr(server_time, "wall_now", lambda: wall_now() + timedelta(seconds=off))
    here = ServerTime(store)
    here.measure()
    desk = Desk(store, RealClock(here.read), Journal(KEY), KEY, "one")
    told: Queue[bool] = Queue()
    waker = Waker(desk, server_time=here, held=told.put)
    waker.start()
    assert told.get(timeout=10) is held
    waker.stop()
    with desk.glance() as m:
        beat = marks.get(m.tx, HEARTBEAT)
        said = [wrong for wrong in health(m).wrongs if "clock" in wrong]
    assert beat is not None
    assert abs(beat.body["clock_off"] - off) < 2
    assert bool(said) is (off > 2)
    store.close()


def test_sqlite_has_no_other_clock_to_compare_with() -> None:
    store = Store("sqlite://")
    assert ServerTime(store).measure() == timedelta()
    store.close()
