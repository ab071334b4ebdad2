"""How long it takes until the last of many messages has left, and what addresses that hang cost the others.

The whole sending side runs: claims under a lease, links, webhooks, outcomes recorded with their chases. Receivers
are a process of their own on loopback.
"""

import asyncio
import multiprocessing
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import timedelta
from multiprocessing.connection import Connection
from pathlib import Path
from tempfile import TemporaryDirectory

from service.engine.clock import SteppedClock
from service.wiring import build
from tests.bench.figures import Figure
from tests.engine.engine_morning import at
from tests.engine.lanes_made import ask_everybody, documents, service_over, settings

MESSAGES, ADDRESSES = 10_000, 100
ANSWERS_IN = 0.05
JITTER = 0.1
"""Seconds by which a message may be longer on its way than the next."""

EACH = 10
"""Messages to each address where some of them hang."""

ANSWER = b"HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\n{}"


# Receivers


class Receivers:
    """Answer after a while, or, under /hang, never; count what came and when the last did."""

    def __init__(self) -> None:
        self.arrived: dict[str, float] = {}

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with suppress(asyncio.IncompleteReadError, ConnectionError):
            while True:
                head = await reader.readuntil(b"\r\n\r\n")
                lower = head.lower()
                await reader.readexactly(int(lower.split(b"content-length: ")[1].split(b"\r\n")[0]))
                if b"/hang" in head.split(b"\r\n", 1)[0]:
                    await asyncio.sleep(3600)
                id = lower.split(b"webhook-id: ")[1].split(b"\r\n")[0].decode()
                self.arrived.setdefault(id, time.monotonic())
                await asyncio.sleep(ANSWERS_IN)
                writer.write(ANSWER)
        writer.close()


def receive(tell: Connection) -> None:
    """Receive until the process is ended; asked, say when each message came."""

    async def run() -> None:
        receivers = Receivers()
        server = await asyncio.start_server(receivers.serve, "127.0.0.1", 0, backlog=1024)
        tell.send(server.sockets[0].getsockname()[1])
        while True:
            await asyncio.sleep(0.02)
            if tell.poll():
                wanted = tell.recv()
                tell.send(receivers.arrived if wanted == "all" else len(receivers.arrived))

    asyncio.run(run())


@contextmanager
def receiving() -> Iterator[tuple[int, Connection]]:
    """A port, and a line to who receives there."""
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=receive, args=(theirs,), daemon=True)
    process.start()
    try:
        yield ours.recv(), ours
    finally:
        process.terminate()
        process.join()


# What is measured


def asked(folder: Path, address: Callable[[int], str], rooms: int, each: str | None = None) -> None:
    """A bell at which so many rounds of one were asked, each checker at the address of their number. `each`: the
    rate of every address.
    """
    schools = max(1, rooms // 100)
    people = [f"school{s:03}-room{r}" for s in range(schools) for r in range(rooms // schools)]
    addresses = {person: address(n) for n, person in enumerate(people)}
    made = documents(addresses, schools=schools, rooms=rooms // schools, children=1)
    if each is not None:
        made["channels"]["chat"]["rate each"] = each
    service = service_over(folder, SteppedClock(at("08:05")), made)
    ask_everybody(service)
    service.close()


async def _heard(line: Connection, what: str) -> object:
    line.send(what)
    while not line.poll():
        await asyncio.sleep(0.005)
    return line.recv()


async def sent(folder: Path, line: Connection, expected: int) -> list[float]:
    """Seconds from the start of the lanes to the arrival of each message, in order."""
    service = build(settings(folder), SteppedClock(at("08:05")))
    begun = time.monotonic()
    service.lanes.start()
    while (await _heard(line, "count")) != expected:
        await asyncio.sleep(0.05)
    arrived = await _heard(line, "all")
    await service.lanes.stop(timedelta(seconds=1))
    service.close()
    assert isinstance(arrived, dict)
    return sorted(when - begun for when in arrived.values())


async def raw(port: int, count: int, addresses: int) -> float:
    """Seconds until the last of as many bare requests has arrived, two at a time to each address."""
    body = b"x" * 600
    request = b"POST /r HTTP/1.1\r\nHost: x\r\nwebhook-id: %d\r\nContent-Length: %d\r\n\r\n"
    left = iter(range(count))
    begun = time.monotonic()

    async def lane() -> None:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        for number in left:
            writer.write(request % (number, len(body)) + body)
            await reader.readexactly(len(ANSWER))
        writer.close()

    await asyncio.gather(*(lane() for _ in range(2 * addresses)))
    return time.monotonic() - begun


def last_sent(messages: int, addresses: int) -> Figure:
    """How long the last of many messages takes, beside bare requests over as many connections."""
    with TemporaryDirectory() as name, receiving() as (port, line):
        limit = asyncio.run(raw(port, messages, addresses))
        with receiving() as (other, counting):
            asked(Path(name), lambda n: f"http://127.0.0.1:{other}/a{n % addresses}", messages)
            ours = asyncio.run(sent(Path(name), counting, messages))[-1]
        del line
    what = f"the last of {messages:,} messages to {addresses} addresses"
    return Figure(f"{what}, each answering in 50 ms", "bare requests, two to an address", limit, ours, "s")


def beside_hanging(hanging: int, addresses: int = ADDRESSES) -> float:
    """Seconds until the last message to good addresses has arrived, beside so many that hang."""
    with TemporaryDirectory() as name, receiving() as (port, line):
        def address(n: int) -> str:
            place = n % (addresses + hanging)
            return f"http://127.0.0.1:{port}/{'a' if place < addresses else 'hang'}{place}"

        asked(Path(name), address, EACH * (addresses + hanging))
        return asyncio.run(sent(Path(name), line, EACH * addresses))[-1]


def rate_kept(messages: int = 5 * EACH, count: int = 5) -> Iterator[Figure]:
    """How many messages the busiest second brought one address that takes five a second, and how long all took."""
    with TemporaryDirectory() as name, receiving() as (port, line):
        asked(Path(name), lambda _: f"http://127.0.0.1:{port}/slow", messages, each=f"{count} per second")
        arrived = asyncio.run(sent(Path(name), line, messages))
    busiest = max(sum(first <= other < first + 1 - JITTER for other in arrived) for first in arrived)
    what = f"{messages} messages to one address that takes {count} a second"
    yield Figure(f"{what}: the busiest second", "its rate", count, busiest, "messages")
    yield Figure("the same: the last of them", "its rate", (messages - 1) // count, arrived[-1] - arrived[0], "s")


def figures(messages: int = MESSAGES, addresses: int = ADDRESSES) -> Iterator[Figure]:
    """What is sent at one bell, and what one and ten addresses that hang cost a hundred others."""
    yield last_sent(messages, addresses)
    yield from rate_kept()
    alone = beside_hanging(0)
    for hanging in (1, 10):
        name = f"{EACH * ADDRESSES:,} messages beside {hanging} that hang 10 s each"
        yield Figure(f"the last of {name}", "the same without those", alone, beside_hanging(hanging), "s")
