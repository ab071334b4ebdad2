"""A compressed morning in a process of its own, which can be made to die at the n-th boundary.

People send again what nobody acknowledged, and the clock goes on where it stood, so that a second run of the same
morning is what a restart would be.
"""

import http.client
import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from service.engine import commands, planner, postman, running
from service.engine.clock import SteppedClock
from service.engine.commands import Received
from service.engine.desk import Desk
from service.engine.postman import Errand, Outcome, Report
from service.store import outbox
from service.store.base import Store
from tests.engine.engine_district import district
from tests.engine.engine_morning import at, open_desk

SAID = (
    ("08:06", "school000-room0", "1 ok"),
    ("08:07", "school000-room0", "2 battery"),
    ("08:12", "A", "mine 20"),
    ("08:17", "school000-second", "1 away"),
    ("08:19", "school000-room0", "2 fixed"),
    ("08:33", "C", "help"),
)
END = "09:55"
NEVER = 0


@dataclass(frozen=True)
class Orders:
    """What one run of the morning is told: `die_at` is the number of the boundary it ends at (0: none)."""

    database: str
    folder: str
    port: int
    die_at: int = NEVER


@dataclass
class Boundaries:
    """Counts the boundaries of the morning by name, and ends the process at the chosen one."""

    orders: Orders
    seen: list[str] = field(default_factory=list)

    def __call__(self, name: str) -> None:
        self.seen.append(name)
        if len(self.seen) == self.orders.die_at:
            os.kill(os.getpid(), signal.SIGKILL)

    @contextmanager
    def around(self, what: str) -> Iterator[None]:
        self(f"before {what}")
        yield
        self(f"after {what}")


def prepare(database: str) -> None:
    """The made district, planned, on a fresh database."""
    store = Store(database)
    store.upgrade()
    commands.configure(open_desk(store, SteppedClock(at("07:00"))), district(1, 2, 2), "test")
    store.close()


def run(orders: Orders) -> None:
    """Play the morning from where it stands to its end; what was passed lies in `folder`/boundaries."""
    boundary = Boundaries(orders)
    where = Path(orders.folder) / "clock"
    clock = SteppedClock(datetime.fromisoformat(where.read_text()) if where.exists() else at("07:30"))
    store = Store(orders.database)
    desk = open_desk(store, clock, owner=f"run-{os.getpid()}")
    store.on_commit = boundary
    planner.plan_all(desk)
    speak(desk, boundary, all_until_now=True)
    step(desk, boundary)
    while (due := following(desk)) is not None and due <= at(END):
        clock.move_to(due)
        keep(where, clock.now().isoformat())
        speak(desk, boundary)
        step(desk, boundary)
    store.close()
    keep(Path(orders.folder) / "boundaries", "\n".join(boundary.seen))


def following(desk: Desk) -> datetime | None:
    """The next instant at which anything happens: the engine's own, a lease, somebody speaking."""
    now = desk.clock.now()
    with desk.glance() as m:
        lease = outbox.next_lease(m.tx)
    said = next((at(wall) for wall, _, _ in SAID if at(wall) > now), None)
    known = [due for due in (running.next_due(desk), lease, said) if due is not None]
    return max(min(known), now) if known else None


def speak(desk: Desk, boundary: Boundaries, all_until_now: bool = False) -> None:
    """What people say now; after a restart they say again what they have said so far."""
    now = desk.clock.now()
    for n, (wall, person, text) in enumerate(SAID):
        if at(wall) == now or (all_until_now and at(wall) < now):
            with boundary.around("inbox write"):
                commands.receive(desk, Received("chat", f"m{n}", person, text, person, proven=True))
            with (Path(boundary.orders.folder) / "acknowledged").open("a") as log:
                log.write(f"m{n}\n")


def step(desk: Desk, boundary: Boundaries) -> None:
    """All that is due now, sending included, until nothing more is."""
    now = desk.clock.now()
    while True:
        done = running.run_due(desk, now)
        with boundary.around("claim"):
            errands = postman.claim(desk, now)
        for errand in errands:
            with boundary.around("send"):
                deliver(boundary.orders.port, errand)
            postman.record(desk, errand, Report(Outcome.ACCEPTED), now)
        if not done and not errands:
            return


def deliver(port: int, errand: Errand) -> None:
    """Hand a message to the receiver, which keeps what it got whatever becomes of us."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    connection.request("POST", "/", headers={"webhook-id": errand.id, "x-key": errand.key})
    assert connection.getresponse().status == 204
    connection.close()


def keep(path: Path, text: str) -> None:
    """Write a file whole or not at all."""
    beside = path.with_suffix(".new")
    beside.write_text(text)
    beside.replace(path)
