"""Time: a clock never runs backwards, and on PostgreSQL it is the server's, however wrong the machine is."""

from datetime import UTC, datetime, timedelta

import pytest

from service.engine import server_time
from service.engine.clock import RealClock, wall_now
from service.engine.server_time import ServerTime
from service.store.base import Store

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


def test_sqlite_has_no_other_clock_to_compare_with() -> None:
    store = Store("sqlite://")
    assert ServerTime(store).measure() == timedelta()
    store.close()
