"""The heartbeat that goes out, over real HTTP: signed, in numbers, and never in the way of anything."""

import asyncio
import base64
import json
import logging
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from standardwebhooks import Webhook

from service.channels.addresses import AddressGuard
from service.channels.factory import build
from service.engine import commands, held, monitor, planner, proving, running
from service.engine.clock import SteppedClock, wall_now
from service.engine.desk import Desk
from service.engine.health import health
from service.engine.held import HEARTBEAT
from service.engine.monitor import Monitor
from service.store import marks
from service.store.base import Store
from tests.channels.channel_receivers import Receiver, answers, hangs
from tests.engine.engine_district import district
from tests.engine.engine_morning import at, open_desk

SECRET = "whsec_" + base64.b64encode(b"a secret for tests, of 32 bytes.").decode()


@dataclass
class Beating:
    """A monitor's task over a desk, beating as often as it may, and what it told."""

    desk: Desk
    told: list[str | None] = field(default_factory=list)

    def made(self) -> Monitor:
        def make(setup: Any) -> Any:
            secrets = {"MONITOR": SECRET}.get
            limit = timedelta(seconds=0.5)
            return build(setup, secrets, AddressGuard(), stamp=wall_now, limit=limit, more_fields=monitor.FIELDS)

        return Monitor(self.desk, make, "1.2.3", wall_now, self.told.append)


@pytest.fixture
def beating(tmp_path: Path) -> Beating:
    """A morning at 08:05, asked and not sent."""
    store = Store(f"sqlite:///{tmp_path / 'b.db'}")
    store.upgrade()
    desk = open_desk(store, SteppedClock(at("07:00")))
    return Beating(desk)


def configured(desk: Desk, url: str | None) -> None:
    documents = district()
    if url is not None:
        beat = {"url": url, "every": "30 s", "signing secret": [{"env": "MONITOR"}], "allow": ["127.0.0.1"]}
        documents["district"]["district"]["heartbeat"] = beat
    commands.configure(desk, documents, "C")


async def run_until(beating: Beating, true: Callable[[], bool]) -> None:
    task = asyncio.create_task(beating.made().run())
    async with asyncio.timeout(10):
        while not true():
            assert not task.done()
            await asyncio.sleep(0.02)
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)


def test_a_beat_is_signed_and_says_in_numbers_how_the_service_does(beating: Beating) -> None:
    async def one() -> None:
        async with Receiver(answers("204 No Content")) as receiver:
            configured(beating.desk, receiver.url)
            planner.plan_all(beating.desk)
            beating.desk.clock.move_to(at("08:05"))  # type: ignore[attr-defined]
            running.run_due(beating.desk, at("08:05"))
            beating.desk.clock.move_to(at("08:06"))  # type: ignore[attr-defined]
            await run_until(beating, lambda: beating.told == [None])
            (request,) = receiver.requests
        said = Webhook(SECRET).verify(request.body, request.headers)
        assert said["type"] == "heartbeat"
        assert set(said["data"]) == set(monitor.STATE)
        data = said["data"]
        assert (data["due"], data["open_chases"], data["sent"], data["oldest_unsent_seconds"]) == (0, 3, 0, 60)
        assert (data["held"], data["schools_without_rounds"]) == (False, 0)
        assert (data["instance"], data["version"]) == ("one", "1.2.3")
        with beating.desk.glance() as m:
            assert proving.prove_all(m, data["head"]).is_sound
        text = request.body.decode()
        names = ("Tree", "Somebody", "school000", "a-room", "A School", "child")
        assert [name for name in names if name in text] == []

    asyncio.run(one())


def test_what_goes_wrong_is_logged_once_told_and_tried_again_at_the_next_beat(
    beating: Beating, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(monitor, "LOOK_EVERY", timedelta(seconds=0.05))
    real = monitor.Monitor._setting

    def often(self: Monitor) -> Any:
        setting = real(self)
        return setting and monitor.replace(setting, every=timedelta(seconds=0.05))

    monkeypatch.setattr(monitor.Monitor, "_setting", often)

    async def several() -> None:
        async with Receiver(answers("500 Broken")) as receiver:
            configured(beating.desk, receiver.url)
            await run_until(beating, lambda: len(receiver.requests) >= 3)
            assert set(beating.told) == {beating.told[0]}
            assert "500" in str(beating.told[0])
            receiver.behave = hangs
            beating.told.clear()
            await run_until(beating, lambda: len(beating.told) > 0)
            assert beating.told[0] is not None
            receiver.behave = answers("200 OK")
            await run_until(beating, lambda: beating.told[-1] is None)

    with caplog.at_level(logging.WARNING, "service.engine.monitor"):
        asyncio.run(several())
    said = [record.getMessage() for record in caplog.records]
    assert sum("500" in line for line in said) == 1


@pytest.mark.parametrize("url", ["http://127.0.0.1:9/", "http://nowhere.invalid/", "ftp://x/", "https://[::1]:1/"])
def test_no_monitor_that_cannot_be_reached_raises_anything(beating: Beating, url: str) -> None:
    configured(beating.desk, url)
    asyncio.run(run_until(beating, lambda: len(beating.told) > 0))
    assert beating.told[0]


def test_an_unforeseen_failure_of_our_own_is_told_by_its_place_alone(
    beating: Beating, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("Tree00 has lost it")

    monkeypatch.setattr(monitor, "figures_of", broken)
    configured(beating.desk, "http://127.0.0.1:9/")
    asyncio.run(run_until(beating, lambda: len(beating.told) > 0))
    assert str(beating.told[0]).startswith("RuntimeError at ")
    assert "Tree" not in str(beating.told[0])


def test_without_a_monitor_and_before_anything_is_set_up_nothing_is_sent(beating: Beating) -> None:
    asyncio.run(run_until(beating, lambda: len(beating.told) > 0))
    configured(beating.desk, None)
    asyncio.run(run_until(beating, lambda: len(beating.told) > 1))
    assert set(beating.told) == {None}


def test_health_notes_a_monitor_that_does_not_hear_us_and_is_well_all_the_same(beating: Beating) -> None:
    configured(beating.desk, None)
    with beating.desk.moment() as m:
        marks.set(m.tx, HEARTBEAT, m.now, {"monitor": "it answered 500"})
    with beating.desk.glance() as m:
        seen = health(m)
        assert held.held(m.tx) is None
    assert seen.is_well
    assert str(seen).endswith("the heartbeat does not reach its monitor: it answered 500")
    assert json.dumps(seen.notes)
