"""What tells somebody elsewhere that the service lives, and that a morning came without rounds; real processes."""

import base64
import json
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from typing import Any
from urllib.error import HTTPError
from urllib.request import urlopen

import pytest
from standardwebhooks import Webhook

from service.engine import commands
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.store.base import Store
from service.store.journal import Journal
from tests.cli.cli_run import DEMO, KEY, bellcheck, environment, here
from tests.cli.test_cli_service import free_port, serving
from tests.engine.engine_district import district

SECRET = "whsec_" + base64.b64encode(b"a secret for tests, of 32 bytes.").decode()


class Hears(BaseHTTPRequestHandler):
    """A monitor: keeps what it is told, and answers as its server says."""

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["content-length"]))
        self.server.heard.append((dict(self.headers.items()), body))  # type: ignore[attr-defined]
        self.send_response(self.server.answer)  # type: ignore[attr-defined]
        self.send_header("content-length", "0")
        self.end_headers()

    def log_message(self, *_: object) -> None:
        """Quiet."""


@contextmanager
def a_monitor(answer: int) -> Iterator[Any]:
    server: Any = ThreadingHTTPServer(("127.0.0.1", 0), Hears)
    server.heard, server.answer = [], answer
    thread = Thread(target=server.serve_forever)
    thread.start()
    try:
        yield server
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def env_with(monitor: Any, tmp_path: Path) -> dict[str, str]:
    named = {
        "BELLCHECK_DEMO_MONITOR": f"http://127.0.0.1:{monitor.server_port}/beat",
        "BELLCHECK_DEMO_CHAT_SECRET": SECRET,
    }
    env = environment(tmp_path / "b.db", **named)
    assert here("apply", DEMO, "--yes", "--by", "c-reed", env=env).code == 0
    return env


def until(true: Any, seconds: float = 30.0) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it did not happen in time"
        time.sleep(0.1)


def test_a_service_beats_from_its_start_and_the_head_that_it_sends_proves_later(tmp_path: Path) -> None:
    with a_monitor(204) as monitor:
        env = env_with(monitor, tmp_path)
        with serving(env, free_port()):
            until(lambda: monitor.heard)
    headers, body = monitor.heard[0]
    said = Webhook(SECRET).verify(body, {name.lower(): value for name, value in headers.items()})
    assert said["data"]["version"] == json.loads(here("version", "--json", env=env).out)["bellcheck"]
    assert here("verify", "--head", said["data"]["head"], env=env).code == 0
    assert here("verify", "--head", f"{said['data']['head']}0", env=env).code == 1


def test_a_monitor_that_refuses_is_noted_and_takes_nothing_from_the_service(tmp_path: Path) -> None:
    port = free_port()

    def asked(path: str) -> dict[str, Any]:
        with urlopen(f"http://127.0.0.1:{port}{path}", timeout=5) as answer:
            found: dict[str, Any] = json.load(answer)
            return found

    def is_ready() -> bool:
        with suppress(HTTPError):
            return bool(asked("/ready")["ok"])
        return False

    with a_monitor(500) as monitor:
        env = env_with(monitor, tmp_path)
        with serving(env, port):
            until(lambda: asked("/health").get("notes"))
            assert "does not reach its monitor" in asked("/health")["notes"][0]
            until(is_ready)
            until(lambda: "does not reach its monitor" in here("health", env=env).out, 40)
            assert here("health", env=env).code == 0


@pytest.mark.parametrize("closed", [False, True], ids=["nobody planned", "no school today"])
def test_a_morning_without_rounds_is_said_by_health_though_nobody_serves(tmp_path: Path, closed: bool) -> None:
    now = datetime.now(UTC)
    noon = now.hour - 12
    documents = district()
    school = documents["schools"]["school000"]
    school["zone"] = f"Etc/GMT{noon:+d}"
    school["week"] = dict.fromkeys(("mon", "tue", "wed", "thu", "fri", "sat", "sun"), "regular")
    school["terms"] = [{"All": "2020-01-01 to 2099-12-31"}]
    school["day types"] = {"regular": {"bells": [{"First bell": "11:00"}, {"Last bell": "15:00"}]}}
    if closed:
        school["closures"] = [{"All": "2020-01-01 to 2099-12-31"}]
    for student in documents["students"].values():
        student["routines"]["morning"]["when"] = {"at": "11:30"}
    store = Store(f"sqlite:///{tmp_path / 'b.db'}")
    store.upgrade()
    early = SteppedClock(now - timedelta(hours=3))
    commands.configure(Desk(store, early, Journal(KEY.encode()), KEY.encode(), "test"), documents, "C")
    store.close()
    ran = bellcheck("health", env=environment(tmp_path / "b.db"))
    assert ran.code == 1
    assert len(ran.out.splitlines()) == 1
    assert ("nobody was asked at school000 today" in ran.out) is not closed
