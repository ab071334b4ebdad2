"""The demo put together: the service as in earnest, but for its configuration, its clock and its pocket phones."""

import asyncio
import secrets
import socket
from collections.abc import AsyncIterator, Callable
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

from fastapi import APIRouter

from service import serving
from service.demo.hand import Hand
from service.demo.pens import Pens
from service.demo.pockets import Pockets
from service.demo.receivers import Receivers
from service.demo.stage import Stage
from service.engine import commands
from service.engine.clock import FastClock, wall_now
from service.settings import KEY_BYTES, Settings
from service.web.options import WebOptions
from service.wiring import Service, build

HOST = "127.0.0.1"
SETTER = "c-reed"
"""Who puts the demo's configuration into force."""


@dataclass(frozen=True)
class Town:
    """The running demo."""

    stage: Stage
    service: Service
    clock: FastClock
    hand: Hand
    pockets: Pockets
    pens: Pens
    base_url: str
    ended: asyncio.Event


Page = Callable[[Town, WebOptions], APIRouter]
"""Makes the demo's own page, beside the pages of the service."""


@asynccontextmanager
async def town(
    stage: Stage, temp: Path, door: socket.socket, speed: float, page: Page
) -> AsyncIterator[Town]:
    """The demo, running at `door` with its clock standing; its database lies in `temp`. Stops within seconds."""
    base_url = f"http://{HOST}:{door.getsockname()[1]}"
    clock = FastClock(stage.begins(), speed)
    clock.pause(True)
    pockets = Pockets(clock.now)
    receivers = Receivers(pockets)
    held = stage.held(receivers.url, receivers.mail_port)
    receivers.held, receivers.owners = held, stage.owners_by_address(held)
    service = await asyncio.to_thread(_service, stage, temp, base_url, held, clock)
    async with AsyncExitStack() as stack:
        stack.callback(service.close)
        await stack.enter_async_context(receivers)
        pens = await stack.enter_async_context(Pens(stage, pockets, held, base_url))
        hand = Hand(service, clock, pockets, speed)
        made = Town(stage, service, clock, hand, pockets, pens, base_url, asyncio.Event())
        await stack.enter_async_context(_serving(made, door, page))
        yield made


def _service(stage: Stage, temp: Path, base_url: str, held: dict[str, str], clock: FastClock) -> Service:
    settings = Settings(
        database=f"sqlite:///{temp / 'bellcheck.db'}",
        host=HOST,
        port=0,
        base_url=base_url,
        server_key=secrets.token_bytes(KEY_BYTES),
        named=held,
    )
    service = build(settings, clock)
    commands.configure(service.desk, stage.documents, SETTER)
    return service


@asynccontextmanager
async def _serving(made: Town, door: socket.socket, page: Page) -> AsyncIterator[None]:
    """The service between start and stop; `made.ended` is set when it has ended of itself."""
    web = WebOptions(
        base_url=made.base_url,
        board_key=None,
        hosts=serving.LOCAL_HOSTS,
        stamp=wall_now,
        secrets=made.service.settings.named.get,
        wake=made.service.wake,
    )
    stop, started = asyncio.Event(), asyncio.Event()
    running = asyncio.create_task(
        serving.run(made.service, web, door, stop, started.set, also=(page(made, web),)), name="service"
    )
    running.add_done_callback(lambda _: made.ended.set())
    begun = asyncio.create_task(started.wait(), name="started")
    try:
        await asyncio.wait((begun, running), return_when=asyncio.FIRST_COMPLETED)
        if not running.done():
            yield
    finally:
        begun.cancel()
        stop.set()
        await running
