"""A service in a process of its own: the pages, the lanes and the waker together, from start to a graceful stop."""

import asyncio
import gc
import logging
import signal
import socket
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import timedelta
from urllib.parse import urlsplit

import uvicorn
from fastapi import APIRouter

from service.engine.clock import wall_now
from service.engine.desk import NotSetUp
from service.engine.health import NOT_HEARD
from service.engine.held import banner, held, say
from service.store.base import serving_lock
from service.web.app import create_app
from service.web.connections import LIMITS, server_config
from service.web.options import WebOptions
from service.wiring import Service

LANES_STOP = timedelta(seconds=6)
"""Pages, then the pass under way, then the lanes: ten seconds in all."""

MAILBOX_SECONDS = 10.0
"""How long the start waits for answers that lie in mailboxes, so that nobody is called silent who has answered."""

LOCAL_HOSTS = ("localhost", "127.0.0.1", "::1")

log = logging.getLogger(__name__)


class CannotServe(Exception):
    """The service cannot start; the message says why and what would help."""


class _Pages(uvicorn.Server):
    """The web server without signal handlers of its own: the whole process stops together."""

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Leave signals to `serve`."""
        yield


def options(service: Service) -> WebOptions:
    """What the pages are built with in service."""
    host = urlsplit(service.settings.base_url).hostname or "localhost"
    return WebOptions(
        base_url=service.settings.base_url,
        board_key=service.settings.board_key,
        hosts=tuple(dict.fromkeys((host, *LOCAL_HOSTS))),
        stamp=wall_now,
        secrets=service.settings.named.get,
        wake=service.wake,
        ready=lambda: troubles(service),
        notes=lambda: notes(service),
    )


def troubles(service: Service) -> tuple[str, ...]:
    """What keeps the service from doing its work at this moment; nothing when all is well."""
    pulse = service.waker.pulse
    found = [pulse.trouble] if pulse.trouble else []
    if pulse.ran is None:
        found.append("the engine has not run yet")
    with service.desk.glance() as m:
        standstill = banner(m)
    return (*found, standstill) if standstill else tuple(found)


def notes(service: Service) -> tuple[str, ...]:
    """What is worth knowing though this process works, from memory alone."""
    pulse = service.waker.pulse
    monitor = (NOT_HEARD.format(pulse.monitor),) if pulse.monitor else ()
    return (*map(str, pulse.missing), *monitor)


def check(service: Service) -> None:
    """Raise `CannotServe` unless a district is set up that may be served from here. What replies are read by is
    gathered as well, or the first one would wait for it.
    """
    try:
        with service.desk.glance() as m:
            state = held(m.tx)
            if state is not None and state.moved_to:
                raise CannotServe(f"{service.desk.store.place} is {say(state)}.")
            district, _ = m.district, m.book.words
    except NotSetUp:
        raise CannotServe(
            "No configuration has been applied yet. Run `bellcheck apply DIR` first, then `bellcheck serve`."
        ) from None
    if district.emergency is None:
        raise CannotServe(
            "The district has no emergency number. Add `emergency:` with number and text under `district:` "
            "and apply the folder again."
        )


def listen(host: str, port: int) -> socket.socket:
    """A socket that listens at host and port. Raises `CannotServe` where it is taken or not ours."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        return socket.create_server((host, port), family=family, backlog=LIMITS.backlog)
    except OSError as error:
        raise CannotServe(
            f"{host}:{port} cannot be listened at ({error.strerror}). Stop what uses it, or name another place "
            "in BELLCHECK_BIND."
        ) from None


def serve(service: Service, started: Callable[[str], None]) -> None:
    """Serve until the process is told to stop (SIGTERM, SIGINT). `started` is told where it listens.

    Raises `CannotServe`, and `AlreadyServing` where another process serves from the same SQLite database.
    """
    settings = service.settings
    if settings.board_key is None:
        raise CannotServe(
            "BELLCHECK_BOARD_KEY is not set: the board needs a key. Any word of 12 characters or more "
            "will do; keep it with the other secrets."
        )
    with serving_lock(service.desk.store):
        check(service)
        # A large district lives as long as the process: the collector need not walk through it again and again.
        gc.collect()
        gc.freeze()
        with listen(settings.host, settings.port) as door:
            asyncio.run(_serve(service, door, started))


async def _serve(service: Service, door: socket.socket, started: Callable[[str], None]) -> None:
    loop = asyncio.get_running_loop()
    stop = asyncio.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    host, port = door.getsockname()[:2]
    await run(service, options(service), door, stop, lambda: started(f"http://{host}:{port}"))


async def run(
    service: Service,
    web: WebOptions,
    door: socket.socket,
    stop: asyncio.Event,
    started: Callable[[], None] = lambda: None,
    also: Sequence[APIRouter] = (),
) -> None:
    """Run pages, lanes and waker until `stop` is set or the pages end; then stop all within ten seconds.

    `also` are further pages beside those of the service.
    """
    app = create_app(service.desk, web)
    for further in also:
        app.include_router(further)
    config = server_config(app, service.settings.proxies)
    pages = _Pages(config)
    service.lanes.start()
    await service.mailboxes.first_fetch(MAILBOX_SECONDS)
    await asyncio.to_thread(service.waker.start)
    serving = asyncio.create_task(pages.serve(sockets=[door]), name="pages")
    stopping = asyncio.create_task(stop.wait(), name="stop")
    beating = asyncio.create_task(service.monitor.run(), name="monitor")
    fetching = asyncio.create_task(service.mailboxes.run(), name="mailboxes")
    started()
    try:
        await asyncio.wait((serving, stopping), return_when=asyncio.FIRST_COMPLETED)
    finally:
        pages.should_exit = True
        stopping.cancel()
        beating.cancel()
        fetching.cancel()
        await asyncio.to_thread(service.waker.stop)
        await service.lanes.stop(LANES_STOP)
        with suppress(asyncio.CancelledError):
            await serving
        log.info("stopped")
