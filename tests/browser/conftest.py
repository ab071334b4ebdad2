"""A real browser over the served application. Skipped by name without Chromium, unless everything must run."""

import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import uvicorn

sys.path.insert(0, str(Path(__file__).parents[1] / "web"))

from web_district import Morning

from service.web.app import create_app


class Site:
    """A morning and the address it is served at."""

    def __init__(self, morning: Morning, base: str) -> None:
        self.morning, self.base = morning, base


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    """The district a minute after Room 12 was asked, served on loopback without a key for the board."""
    morning = Morning(tmp_path / "browser.db")
    morning.play_to("08:06")
    app = create_app(morning.desk, morning.options(board_key=None))
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="error", access_log=False))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    end = time.monotonic() + 10
    while not server.started and time.monotonic() < end:
        time.sleep(0.01)
    yield Site(morning, f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}")
    server.should_exit = True
    thread.join(10)
    morning.store.close()
