"""A running demo in a thread of its own, for tests that look at it from outside."""

import asyncio
import re
import threading
from concurrent.futures import Future
from contextlib import contextmanager

import httpx

from service.demo.stage import read_stage
from service.demo.stand import stand
from service.demo.town import HOST, town
from service.serving import listen

TOKEN = re.compile(r'name="token" value="([0-9a-f]+)"')


@contextmanager
def running(folder):
    """The demo's town, its clock standing shortly before the first bell."""
    ready, loop_of = Future(), Future()

    async def live():
        stop = asyncio.Event()
        loop_of.set_result((asyncio.get_running_loop(), stop))
        with listen(HOST, 0) as door:
            async with town(read_stage(), folder, door, 60.0, stand) as made:
                ready.set_result(made)
                await stop.wait()

    thread = threading.Thread(target=lambda: asyncio.run(live()), daemon=True)
    thread.start()
    try:
        yield ready.result(20)
    finally:
        loop, stop = loop_of.result(5)
        loop.call_soon_threadsafe(stop.set)
        thread.join(15)
        assert not thread.is_alive(), "the demo stops within seconds"


class Visitor:
    """Somebody with a browser that runs no scripts."""

    def __init__(self, made):
        self.client = httpx.Client(base_url=made.base_url, follow_redirects=True, trust_env=False, timeout=15)
        self.page = self.client.get("/try").text

    @property
    def token(self):
        return TOKEN.search(self.page)[1]

    def press(self, do):
        self.page = self.client.post("/try/clock", data={"token": self.token, "do": do}).text

    def say(self, person, words):
        form = {"token": self.token, "person": person, "words": words}
        self.page = self.client.post("/try/say", data=form).text

    def phone(self, person):
        """The notes on one phone as text, newest first."""
        notes = re.search(rf'id="notes-{person}".*?>(.*?)</div>\s*<form', self.page, re.S)[1]
        return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", notes)).strip()

    @property
    def hour(self):
        return re.search(r"<b>(\d\d:\d\d)</b>", self.page)[1]
