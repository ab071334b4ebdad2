"""Presses that come 32 at once on phone pages, until the page answers: what was pressed is stored and applied by then.

Our whole service runs in a process of its own; beside it, in the same run, the barest application that makes the same
two commits before it answers. Each page is pressed once, "all working".
"""

import asyncio
import json
import shutil
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from sqlmodel import select

from service.engine import doors
from service.engine.clock import SteppedClock
from service.store.tables import CheckRow, RoundRow
from service.wiring import build
from tests.bench.answering_apps import serve_bare, serve_ours
from tests.bench.bench_replies_in import CLIENTS, ROOMS, Taken, asked, served
from tests.bench.figures import RUNS, Figure
from tests.engine.engine_morning import DAY, at
from tests.engine.lanes_made import settings


@dataclass(frozen=True)
class Request:
    """What is posted where, and how the answer to it begins."""

    path: str
    kind: str
    body: bytes
    status: bytes


def pages(folder: Path) -> list[str]:
    """The addresses of the pages of all rounds that were asked."""
    service = build(settings(folder), SteppedClock(at("08:06")))
    with service.desk.glance() as m:
        found = [
            f"/r/{row.id}/{row.checker}/{doors.round_token(service.desk, m.tx, row.id, row.checker)}"
            for row in m.tx.exec(select(RoundRow).where(RoundRow.state == "asked").order_by(RoundRow.id))
        ]
    service.close()
    return found


def pressed(page: str) -> Request:
    """The first button of a page."""
    return Request(page, "application/x-www-form-urlencoded", b"do=all&word=bench", b"HTTP/1.1 303")


def plain(page: str) -> Request:
    """As much for the bare application."""
    body = json.dumps({"id": page, "from": page.split("/")[3], "text": "ok"}).encode()
    return Request("/in/chat", "application/json", body, b"HTTP/1.1 202")


async def measure(port: int, requests: Sequence[Request]) -> Taken:
    """All of them, `CLIENTS` at a time, each over a kept connection."""
    left, took = iter(requests), []

    async def client() -> None:
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        for request in left:
            begun = time.perf_counter()
            head = [
                f"POST {request.path} HTTP/1.1", "Host: localhost", f"Content-Type: {request.kind}",
                f"Content-Length: {len(request.body)}",
            ]  # fmt: skip
            writer.write("\r\n".join([*head, "", ""]).encode() + request.body)
            answer = await reader.readuntil(b"\r\n\r\n")
            await reader.readexactly(int(answer.lower().split(b"content-length: ")[1].split(b"\r\n")[0]))
            if not answer.startswith(request.status):
                raise RuntimeError(f"a press was not taken: {answer!r}")
            took.append(time.perf_counter() - begun)
        writer.close()

    begun = time.perf_counter()
    await asyncio.gather(*(client() for _ in range(CLIENTS)))
    whole = time.perf_counter() - begun
    took.sort()
    return Taken(len(took) / whole, took[int(len(took) * 0.99)] * 1000)


def run(target: Callable[..., None], made: Path, requests: Sequence[Request]) -> Taken:
    """The same morning over a copy of its database."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        shutil.copy(made / "lanes.db", folder / "lanes.db")
        with served(target, folder) as port:
            taken = asyncio.run(measure(port, requests))
        if target is serve_ours:
            check(folder)
    return taken


def check(folder: Path) -> None:
    """Raise unless every check of the day is working: an answer must not come before what it answers."""
    service = build(settings(folder), SteppedClock(at("08:06")))
    with service.desk.glance() as m:
        found = {row.result for row in m.tx.exec(select(CheckRow)) if row.date.isoformat() == DAY}
    service.close()
    if found != {"working"}:
        raise AssertionError(f"after all presses the checks are {found}")


def figures(rooms: int = ROOMS, runs: int = RUNS) -> Iterator[Figure]:
    """Both in turn, some times."""
    with TemporaryDirectory() as name:
        made = Path(name)
        asked(made, rooms)
        found = pages(made)
        pairs = [
            (run(serve_bare, made, [plain(p) for p in found]), run(serve_ours, made, [pressed(p) for p in found]))
            for _ in range(runs)
        ]
    bare, ours = zip(*pairs, strict=True)
    limit = "FastAPI with two bare Core commits"
    yield Figure(
        f"presses on pages, {CLIENTS} at once, to the page's answer", limit,
        median(t.rate for t in bare), median(t.rate for t in ours), "presses/s",
    )  # fmt: skip
    yield Figure(
        "the same, 99 of 100 within", limit, median(t.p99 for t in bare), median(t.p99 for t in ours), "ms"
    )
