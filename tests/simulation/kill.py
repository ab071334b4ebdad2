"""Ends a morning by force at many points, starts it again, and compares with the morning that was left alone.

`python -m tests.simulation.kill --points 40 --database sqlite|postgres` says how many ends of each kind it took.
"""

import argparse
import random
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from multiprocessing import get_context
from multiprocessing.context import ForkServerContext
from pathlib import Path
from threading import Thread

from sqlmodel import select

from service.engine.clock import SteppedClock
from service.store.base import Store
from service.store.tables import InboxRow
from tests.engine.engine_morning import at, broken_streams, messages, open_desk, results, told
from tests.simulation import simulation_child as child
from tests.store.conftest import database_url, new_name, on_server

RUN_SECONDS = 60
ALERTS = ("prompt", "reminder", "second", "alert")


@dataclass
class Receiver:
    """Takes messages over loopback and remembers each delivery: its id and its key."""

    got: list[tuple[str, str]] = field(default_factory=list)

    @contextmanager
    def listening(self) -> Iterator[int]:
        got = self.got

        class Taker(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                got.append((self.headers["webhook-id"], self.headers["x-key"]))
                self.send_response(204)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        server = ThreadingHTTPServer(("127.0.0.1", 0), Taker)
        Thread(target=server.serve_forever, daemon=True).start()
        try:
            yield server.server_address[1]
        finally:
            server.shutdown()
            server.server_close()


@dataclass(frozen=True)
class Morning:
    """What is left of a morning that came to its end."""

    results: dict[str, str | None]
    told: list[str]
    wrong: list[str]
    again: int


@contextmanager
def sqlite_database() -> Iterator[str]:
    with tempfile.TemporaryDirectory() as folder:
        yield f"sqlite:///{folder}/morning.db"


@contextmanager
def postgres_database() -> Iterator[str]:
    name = new_name()
    on_server(f"CREATE DATABASE {name} TEMPLATE template0 ENCODING 'UTF8'")
    try:
        yield database_url(name).render_as_string(hide_password=False)
    finally:
        on_server(f"DROP DATABASE {name} WITH (FORCE)")


DATABASES = {"sqlite": sqlite_database, "postgres": postgres_database}


def processes() -> ForkServerContext:
    """Where runs are started from: a server that has loaded everything and has no threads."""
    context = get_context("forkserver")
    context.set_forkserver_preload(["tests.simulation.simulation_child"])
    return context


def start(orders: child.Orders) -> int:
    """One run in a process of its own; says how it ended."""
    process = processes().Process(target=child.run, args=(orders,))
    process.start()
    process.join(RUN_SECONDS)
    if process.is_alive():
        process.kill()
        raise TimeoutError(f"a run did not come to its end within {RUN_SECONDS} s")
    return process.exitcode or 0


def play(kind: str, die_at: int = child.NEVER) -> tuple[Morning, list[str]]:
    """A morning on a fresh database, ended at a boundary and started again; with the boundaries of its last run."""
    receiver = Receiver()
    with DATABASES[kind]() as database, receiver.listening() as port, tempfile.TemporaryDirectory() as folder:
        child.prepare(database)
        ended = start(child.Orders(database, folder, port, die_at))
        if die_at and ended != -9:
            raise AssertionError(f"the run was to be ended at boundary {die_at} and ended with {ended}")
        if ended and start(child.Orders(database, folder, port)) != 0:
            return Morning({}, [], ["the restarted run failed"], 0), []
        seen = (Path(folder) / "boundaries").read_text().splitlines()
        return judged(database, folder, receiver), seen


def judged(database: str, folder: str, receiver: Receiver) -> Morning:
    """What must hold of every morning, and what to compare with the one left alone."""
    desk = open_desk(Store(database), SteppedClock(at(child.END)))
    sent = messages(desk.store)
    with desk.store.reading() as tx:
        inbox = {row.external_id: row.state for row in tx.exec(select(InboxRow))}
    acknowledged = (Path(folder) / "acknowledged").read_text().split()
    ids: dict[str, set[str]] = {}
    for id, key in receiver.got:
        ids.setdefault(key, set()).add(id)
    arrived = Counter(id for id, _ in receiver.got)
    wrong = [f"stream {s} does not prove" for s in broken_streams(desk)]
    wrong += [f"{m.id} is {m.state}" for m in sent if m.state not in ("accepted", "dropped")]
    wrong += [f"{m.id} never arrived" for m in sent if m.state == "accepted" and not arrived[m.id]]
    wrong += [f"{key} went under {len(held)} ids" for key, held in ids.items() if len(held) > 1]
    wrong += [f"{m} was acknowledged and is {inbox.get(m)}" for m in acknowledged if inbox.get(m) != "read"]
    wrong += [f"{c} has no result" for c, r in results(desk.store).items() if not r and "2026-10-05" in c]
    if len({m.key for m in sent}) != len(sent):
        wrong.append("a key was used twice")
    found = Morning(results(desk.store), told(desk.store, ALERTS), wrong, arrived.total() - len(arrived))
    desk.store.close()
    return found


def chosen(seen: list[str], points: int, seed: int) -> list[int]:
    """Boundaries to die at, by number: each kind in its turn, drawn over the whole morning."""
    chance = random.Random(seed)
    by_kind: dict[str, list[int]] = {}
    for n, name in enumerate(seen, start=1):
        by_kind.setdefault(name, []).append(n)
    for numbers in by_kind.values():
        chance.shuffle(numbers)
    kinds = sorted(by_kind)
    picked: list[int] = []
    while len(picked) < min(points, len(seen)):
        for kind in kinds:
            if by_kind[kind] and len(picked) < points:
                picked.append(by_kind[kind].pop())
    return sorted(picked)


def wrongs(left: Morning, alone: Morning) -> list[str]:
    """What is wrong with a morning that was ended and started again."""
    found = list(left.wrong)
    if left.results != alone.results:
        found.append("checks stand otherwise than in the morning left alone")
    found += [f"{key} was not told" for key in sorted(set(alone.told) - set(left.told))]
    found += [f"{key} was told for nothing" for key in sorted(set(left.told) - set(alone.told))]
    return found


def simulate(kind: str, points: int, seed: int = 1) -> tuple[Counter[str], int, list[str]]:
    """Ends taken by kind of boundary, messages that arrived again under their id, and what went wrong."""
    alone, seen = play(kind)
    found = [f"left alone: {w}" for w in alone.wrong]
    taken: Counter[str] = Counter()
    again = 0
    for die_at in chosen(seen, points, seed):
        taken[seen[die_at - 1]] += 1
        left, _ = play(kind, die_at)
        again += left.again
        found += [f"ended at {die_at} ({seen[die_at - 1]}): {w}" for w in wrongs(left, alone)]
    return taken, again, found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--points", type=int, default=40)
    parser.add_argument("--database", choices=sorted(DATABASES), default="sqlite")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    taken, again, found = simulate(given.database, given.points, given.seed)
    for name, times in sorted(taken.items()):
        print(f"{times:4}  {name}")
    print(f"{again:4}  messages arrived a second time under the same id")
    print("\n".join(found) or "nothing lost, nothing told twice")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
