"""Plays the compressed morning over real instances of the service: starts them, lets the clock run, waits for rest."""

import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from multiprocessing.process import BaseProcess
from pathlib import Path
from threading import Event, Thread
from types import TracebackType
from typing import Self

from service.engine import commands, running
from service.engine.desk import Desk
from service.store import inbox, outbox
from service.store.base import Store
from service.store.errors import StoreError
from service.store.journal import Journal
from tests.engine.engine_morning import at
from tests.faults import instance as child
from tests.faults import town
from tests.faults.instance import KEY, Orders
from tests.faults.outside import Outside
from tests.faults.ports import free_port
from tests.faults.world_clock import OwnClock
from tests.store.conftest import database_url, new_name, on_server

SPEED = 20.0
LEAD = timedelta(seconds=2)
"""The clock is moved to so shortly before what comes next, and runs from there."""

BEHIND_SECONDS = 4.0
"""Where there was no rest for so long, the machine does not keep up with the morning."""

WALK = 2.0
"""How fast the morning goes then: a person's minute is half a minute of the machine's."""

READY_SECONDS = 120.0
STOP_SECONDS = 10.0
END_SECONDS = 1200.0
LOOK = 0.03


@contextmanager
def sqlite_database(folder: Path) -> Iterator[str]:
    yield f"sqlite:///{folder}/morning.db"


@contextmanager
def postgres_database(_folder: Path) -> Iterator[str]:
    name = new_name()
    on_server(f"CREATE DATABASE {name} TEMPLATE template0 ENCODING 'UTF8'")
    try:
        yield database_url(name).render_as_string(hide_password=False)
    finally:
        on_server(f"DROP DATABASE {name} WITH (FORCE)")


DATABASES = {"sqlite": sqlite_database, "postgres": postgres_database}
INSTANCES = {"sqlite": 1, "postgres": 3}


@dataclass(frozen=True)
class Site:
    """Where a morning is played: the database, on which address the receiver listens, and where each instance lives."""

    database: str
    places: tuple[tuple[str, str | None], ...]
    outside: str = "127.0.0.1"


def here(database: str, count: int) -> Site:
    """So many instances on this machine."""
    return Site(database, (("127.0.0.1", None),) * count)


@dataclass
class Handle:
    """An instance that runs, or not just now."""

    orders: Orders
    process: BaseProcess | None = None

    @property
    def lives(self) -> bool:
        return self.process is not None and self.process.is_alive()

    def start(self, die_at: tuple[str, int] | None = None) -> None:
        self.process = child.start(replace(self.orders, die_at=die_at))

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.join()

    def ready(self) -> tuple[int, str]:
        """What /ready answers, asked from where the instance lives; 0 where nothing answers."""
        where = f"http://{self.orders.host}:{self.orders.port}/ready"
        asked = ["curl", "-s", "-m", "8", "-w", "\n%{http_code}", where]
        inside = self.orders.namespace
        command = ["ip", "netns", "exec", inside, *asked] if inside else asked
        ran = subprocess.run(command, capture_output=True, text=True, check=False)
        text, _, status = ran.stdout.rpartition("\n")
        return int(status or 0), text

    def wait_ready(self, seconds: float = READY_SECONDS) -> None:
        """Wait until it is ready, or dead again."""
        end = time.monotonic() + seconds
        while self.lives and self.ready()[0] != 200:
            if time.monotonic() > end:
                raise TimeoutError(f"instance {self.orders.number} is not ready: {self.ready()}")
            time.sleep(LOOK)

    def wait_said(self, words: str, seconds: float = READY_SECONDS) -> None:
        """Wait until /ready says these words of why it is not."""
        end = time.monotonic() + seconds
        while words not in self.ready()[1]:
            if time.monotonic() > end:
                raise TimeoutError(f"instance {self.orders.number} does not say {words!r}: {self.ready()}")
            time.sleep(LOOK)

    def stop(self) -> tuple[float, int | None]:
        """Tell it to stop; the seconds it took and its exit code (None: it did not stop)."""
        assert self.process is not None
        began = time.monotonic()
        if self.process.pid is not None and self.process.is_alive():
            self.process.terminate()
        self.process.join(STOP_SECONDS + 5)
        took, code = time.monotonic() - began, self.process.exitcode
        self.kill()
        return took, code


@dataclass
class World:
    """A morning under way. As a context it begins with all instances ready and the clock standing at its beginning."""

    folder: Path
    site: Site
    speed: float = SPEED
    handles: list[Handle] = field(default_factory=list)
    stops: list[tuple[float, int | None]] = field(default_factory=list)
    behind: float = 0.0
    """Real seconds, at least, for which the machine did not keep up."""

    def __enter__(self) -> Self:
        self._over = Event()
        self.clock = OwnClock(self.folder / "clock", at(town.BEGIN), self.speed)
        self.outside = Outside(self.clock)
        self.desk = Desk(Store(self.site.database), self.clock, Journal(KEY), KEY, "who plays the morning")
        self.desk.store.upgrade()
        commands.configure(self.desk, town.documents(), "ash-coordinator")
        self._awake = self.outside.awake(self.site.outside)
        url = self._awake.__enter__()
        for n, (host, namespace) in enumerate(self.site.places):
            orders = Orders(n, self.site.database, str(self.folder), free_port(), url, self.speed, host, namespace)
            self.handles.append(Handle(orders))
            self.outside.places.append((host, orders.port))
        for handle in self.handles:
            handle.start()
        for handle in self.handles:
            handle.wait_ready()
        self._pacing = Thread(target=self._pace, daemon=True)
        self._pacing.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._over.set()
        self._pacing.join()
        for handle in self.handles:
            handle.kill()
        self._awake.__exit__(kind, error, trace)
        self.desk.store.close()

    @property
    def living(self) -> list[Handle]:
        return [handle for handle in self.handles if handle.lives]

    def is_at_rest(self) -> bool:
        """Whether nothing is due or under way, here or with the people outside."""
        return self._coming() is not None

    def _coming(self) -> datetime | None:
        """When the next thing is due; None where something is due or under way just now. Read in one picture of the
        database, and not believed where somebody outside did something meanwhile.
        """
        pulse, act = self.outside.pulse, self.outside.next_act
        try:
            with self.desk.glance() as m:
                busy = inbox.has_unread(m.tx) or outbox.next_lease(m.tx) is not None
                due = running.next_in(m)
        except StoreError:
            return None
        coming = [instant for instant in (act, due) if instant is not None]
        if busy or pulse != self.outside.pulse or any(instant <= self.clock.now() for instant in coming):
            return None
        return min([*coming, at(town.END)])

    def _pace(self) -> None:
        """Where nothing happens while the clock runs, on to shortly before the next thing, again and again. Where the
        machine does not keep up, the morning goes slowly until it does: what people do must come before the last bell.
        """
        rested = time.monotonic()
        while not self._over.wait(LOOK):
            coming = self._coming() if self.clock.runs else None
            if coming is not None:
                self.clock.move_to(coming - LEAD)
            now = time.monotonic()
            if coming is not None or not self.clock.runs:
                rested = now
            is_behind = now - rested > BEHIND_SECONDS
            self.clock.brake(WALK if is_behind else None)
            self.behind += LOOK if is_behind else 0.0

    def play(self, until: datetime, seconds: float = END_SECONDS) -> None:
        """Let the morning run to an instant and come to rest there."""
        deadline = time.monotonic() + seconds
        self.clock.run()
        while self.clock.now() < until or not self.is_at_rest():
            if time.monotonic() > deadline:
                raise TimeoutError(f"the morning does not come to rest; it is {self.clock.now():%H:%M:%S}")
            time.sleep(LOOK)

    def end(self) -> None:
        """To the end of the morning; then every instance is told to stop."""
        self.play(at(town.END))
        self.clock.stand()
        self.stops += [handle.stop() for handle in self.handles]


@contextmanager
def world(kind: str, speed: float = SPEED) -> Iterator[World]:
    """A morning on a fresh database of a kind, in a folder of its own."""
    with tempfile.TemporaryDirectory(prefix="bellcheck-faults-") as name:
        folder = Path(name)
        with (
            DATABASES[kind](folder) as database,
            World(folder, here(database, INSTANCES[kind]), speed) as made,
        ):
            yield made

