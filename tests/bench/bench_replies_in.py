"""Replies that come in 32 at once over HTTP, until their consequence lies in the outbox.

Our whole service runs in a process of its own, fed with signed webhooks; beside it, in the same run, the barest
application that makes the same two commits. A client sends its next message when the answer to its last lies in
the outbox, so that 32 are always under way.
"""

import asyncio
import json
import multiprocessing
import shutil
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from service.channels.signature import headers_for
from service.engine.clock import SteppedClock, wall_now
from tests.bench.answering_apps import serve_bare, serve_ours
from tests.bench.figures import RUNS, Figure
from tests.engine.engine_morning import Receivers, at, play_to
from tests.engine.lanes_made import CHAT_SECRET, documents, service_over

CLIENTS = 32
ROOMS = 320
"""Rounds of three, each answered once."""

POLL = 0.002


@dataclass(frozen=True)
class Taken:
    """Consequences a second, and how long 99 of 100 took at most, in milliseconds."""

    rate: float
    p99: float


def asked(folder: Path, rooms: int) -> list[tuple[str, str]]:
    """A morning in which every round was asked; says who was, and at which address."""
    schools = max(1, rooms // 20)
    people = [f"school{s:03}-room{r}" for s in range(schools) for r in range(20)]
    addresses = {person: f"https://chat.example/{person}" for person in people}
    made = documents(addresses, schools=schools, rooms=20)
    service = service_over(folder, SteppedClock(at("07:00")), made)
    play_to(service.desk, "08:05", Receivers())
    service.close()
    return list(addresses.items())


@contextmanager
def served(target: Callable[..., None], folder: Path) -> Iterator[int]:
    """The port of an application in a process of its own."""
    context = multiprocessing.get_context("spawn")
    tell, told = context.Pipe()
    process = context.Process(target=target, args=(str(folder), at("08:06"), told), daemon=True)
    process.start()
    try:
        yield tell.recv()
    finally:
        process.terminate()
        process.join()


async def post(streams: tuple[asyncio.StreamReader, asyncio.StreamWriter], id: str, body: bytes) -> None:
    """One signed message; raises where it is not taken."""
    reader, writer = streams
    signed = headers_for((CHAT_SECRET,), id, wall_now(), body)
    head = [
        "POST /in/chat HTTP/1.1", "Host: localhost", "Content-Type: application/json",
        f"Content-Length: {len(body)}", *(f"{name}: {value}" for name, value in signed.items()),
    ]  # fmt: skip
    writer.write("\r\n".join([*head, "", ""]).encode() + body)
    answer = await reader.readuntil(b"\r\n\r\n")
    length = int(answer.lower().split(b"content-length: ")[1].split(b"\r\n")[0])
    told = await reader.readexactly(length)
    if not answer.startswith(b"HTTP/1.1 202"):
        raise RuntimeError(f"a message was not taken: {answer!r} {told!r}")


class Outbox:
    """Says when the answer to a message lies in the outbox, looking from outside as any other process may."""

    def __init__(self, path: Path) -> None:
        self._reading = sqlite3.connect(path, isolation_level=None)
        self._seen = self._reading.execute("SELECT coalesce(max(rowid), 0) FROM outbox").fetchone()[0]
        self._waiting: dict[str, asyncio.Future[None]] = {}

    def expect(self, id: str) -> asyncio.Future[None]:
        """Done when the message is answered."""
        self._waiting[id] = asyncio.get_running_loop().create_future()
        return self._waiting[id]

    async def watch(self) -> None:
        """Look until nobody wants to know."""
        while True:
            await asyncio.sleep(POLL)
            found = self._reading.execute(
                "SELECT rowid, in_reply_to FROM outbox WHERE rowid > ? ORDER BY rowid", (self._seen,)
            ).fetchall()
            for self._seen, id in found:
                if id in self._waiting:
                    self._waiting.pop(id).set_result(None)


async def measure(port: int, folder: Path, people: list[tuple[str, str]]) -> Taken:
    """Everybody answers once, `CLIENTS` at a time; half with a fault."""
    outbox = Outbox(folder / "lanes.db")
    watching = asyncio.create_task(outbox.watch())
    left = iter(enumerate(people))
    took: list[float] = []

    async def client() -> None:
        streams = await asyncio.open_connection("127.0.0.1", port)
        for n, (_, address) in left:
            id = f"m-{n}"
            body = {"id": id, "from": address, "text": "ok" if n % 2 else "2 battery, rest ok"}
            begun, answered = time.perf_counter(), outbox.expect(id)
            await post(streams, id, json.dumps(body).encode())
            await asyncio.wait_for(answered, 60)
            took.append(time.perf_counter() - begun)
        streams[1].close()

    begun = time.perf_counter()
    await asyncio.gather(*(client() for _ in range(CLIENTS)))
    whole = time.perf_counter() - begun
    watching.cancel()
    took.sort()
    return Taken(len(took) / whole, took[int(len(took) * 0.99)] * 1000)


def run(target: Callable[..., None], made: Path, people: list[tuple[str, str]]) -> Taken:
    """The same morning over a copy of its database."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copy(made / "lanes.db", folder / "lanes.db")
        with served(target, folder) as port:
            return asyncio.run(measure(port, folder, people))


def figures(rooms: int = ROOMS, runs: int = RUNS) -> Iterator[Figure]:
    """Both in turn, some times."""
    with TemporaryDirectory() as name:
        people = asked(Path(name), rooms)
        pairs = [(run(serve_bare, Path(name), people), run(serve_ours, Path(name), people)) for _ in range(runs)]
    bare, ours = zip(*pairs, strict=True)
    limit = "FastAPI with two bare Core commits"
    yield Figure(
        f"replies in, {CLIENTS} at once, to their answer in the outbox", limit,
        median(t.rate for t in bare), median(t.rate for t in ours), "replies/s",
    )  # fmt: skip
    yield Figure(
        "the same, 99 of 100 within", limit, median(t.p99 for t in bare), median(t.p99 for t in ours), "ms"
    )
