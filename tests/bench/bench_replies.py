"""Reading a reply, and the way from a stored reply to its committed consequence."""

import json
import re
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from typing import Any

from service.core import replies
from service.core.district import Device, DeviceKind, Side
from service.core.reading import Asked, AskedStudent, Audience
from service.engine import commands, postman, running
from tests.bench.figures import Figure, beside
from tests.bench.large_districts import fresh
from tests.engine.engine_district import district
from tests.engine.engine_morning import Receivers, SteppedClock, at, open_desk, play_to, says

CASES = Path(__file__).parents[1] / "core" / "replies_own.jsonl"
ROOMS = 60


def cases() -> list[tuple[str, Asked]]:
    """The labelled replies with what was asked."""
    return [
        (case["text"], _asked(case)) for line in CASES.read_text().splitlines() if (case := json.loads(line))
    ]


def _asked(case: dict[str, Any]) -> Asked:
    students = tuple(
        AskedStudent(s["number"], s["alias"], tuple(_device(d) for d in s["devices"]))
        for s in case["students"]
    )
    return Asked(Audience(case["audience"]), students, "en")


def _device(given: dict[str, Any]) -> Device:
    return Device(DeviceKind(given["kind"]), Side(given["side"]) if given["side"] else None)


def split(held: list[tuple[str, Asked]]) -> float:
    """Microseconds a message takes to be cut into words by one regular expression."""
    words = re.compile(r"\w+|[^\w\s]")
    begun = time.perf_counter()
    for text, _ in held:
        words.findall(text.casefold())
    return (time.perf_counter() - begun) / len(held) * 1e6


def read(held: list[tuple[str, Asked]]) -> float:
    """Microseconds a message takes to be read."""
    words = replies.default_words()
    begun = time.perf_counter()
    for text, asked in held:
        replies.read(text, asked, words)
    return (time.perf_counter() - begun) / len(held) * 1e6


def one_commit() -> float:
    """Milliseconds of one insert and one update in one durable commit, bare."""
    with TemporaryDirectory() as folder:
        connection = sqlite3.connect(Path(folder) / "bare.db", isolation_level=None)
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("CREATE TABLE t (id INTEGER PRIMARY KEY, words TEXT, state TEXT)")
        took = []
        for n in range(200):
            begun = time.perf_counter()
            connection.execute("BEGIN IMMEDIATE")
            connection.execute("INSERT INTO t VALUES (?, ?, 'unread')", (n, "x" * 200))
            connection.execute("UPDATE t SET state = 'read' WHERE id = ?", (n,))
            connection.execute("COMMIT")
            took.append(time.perf_counter() - begun)
        connection.close()
    return median(took) * 1000


def to_consequence() -> float:
    """Milliseconds from a stored reply to its answer claimed for sending, half of them faults."""
    with fresh() as store:
        clock = SteppedClock(at("07:00"))
        desk = open_desk(store, clock)
        commands.configure(desk, district(1, ROOMS, 3), "bench")
        play_to(desk, "08:06", Receivers())
        took = []
        for room in range(ROOMS):
            says(desk, f"school000-room{room}", "ok" if room % 2 else "2 battery", f"m{room}")
            begun = time.perf_counter()
            running.run_due(desk, clock.now())
            if not postman.claim(desk, clock.now()):
                raise AssertionError("a reply had no consequence")
            took.append(time.perf_counter() - begun)
    return median(took) * 1000


def figures() -> Iterator[Figure]:
    held = cases()
    name = f"a reply read ({len(held)} labelled ones)"
    yield beside(name, "cutting it into words", "µs", lambda: split(held), lambda: read(held))
    name = "a stored reply's consequence, ready to be sent"
    yield beside(name, "one bare durable commit", "ms", one_commit, to_consequence)
