"""Breaks what the service stands on in the midst of the morning, for a while: its database, its disk, its network.

While it lasts every instance concerned must say that it cannot work; afterwards all must be as if nothing had been.
"""

import json
import os
import re
import signal
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import psycopg

from tests.engine.engine_morning import at
from tests.faults.judging import Ended, judged
from tests.faults.machinery import Cluster, disk_on_a_file, full, network, own_cluster, small_disk, unplugged
from tests.faults.morning import INSTANCES, SPEED, Site, World, here, sqlite_database

BEGINS = "08:04:50"
"""In the midst of the first prompts and answers."""

SLOWLY = 4.0
"""How fast the morning runs while the fault lasts."""

EVERY = 0.5
RECOVERS_WITHIN = 45.0

Stage = Callable[[Path], AbstractContextManager["Staged"]]


@dataclass
class Staged:
    """A site, and how it is broken: a context from World to nothing. `hit` are the instances that must say so."""

    site: Site
    fault: Callable[[World], AbstractContextManager[None]]
    hit: tuple[int, ...]


@dataclass
class Broken:
    """What was seen of a fault: how the morning ended, what the instances said, how long each took to be well again."""

    ended: Ended
    said: dict[str, int] = field(default_factory=dict)
    logged: dict[str, int] = field(default_factory=dict)
    recovered: float = 0.0
    wrong: list[str] = field(default_factory=list)


def play(stage: Stage, seconds: float) -> Broken:
    """A morning that is broken for so many real seconds at its beginning."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="bellcheck-faults-")))
        staged = stack.enter_context(stage(folder))
        made = stack.enter_context(World(folder, staged.site, SPEED))
        made.play(at(BEGINS))
        made.clock.run(SLOWLY)
        said: dict[str, int] = {}
        silent = set(staged.hit)
        with staged.fault(made):
            end = time.monotonic() + seconds
            while time.monotonic() < end:
                silent -= _look(made, said)
                time.sleep(EVERY)
        wrong = [f"instance {n} never said that it could not work" for n in sorted(silent)]
        recovered = _recover(made, wrong)
        made.end()
        return Broken(judged(made), said, _logged(made), recovered, wrong)


def _look(made: World, said: dict[str, int]) -> set[int]:
    """Ask every instance; says which of them say that they cannot work."""
    unwell = set()
    for handle in made.living:
        status, text = handle.ready()
        if status != 200:
            words = json.loads(text)["detail"] if status == 503 else f"no answer ({status}) {text[:200]}"
            said[words] = said.get(words, 0) + 1
            unwell.add(handle.orders.number)
    return unwell


def _recover(made: World, wrong: list[str]) -> float:
    """The seconds until all are ready again, each by itself."""
    began = time.monotonic()
    while any(handle.ready()[0] != 200 for handle in made.handles):
        if time.monotonic() - began > RECOVERS_WITHIN:
            wrong.append(f"not well again: {[handle.ready() for handle in made.handles]}")
            break
        time.sleep(0.1)
    return time.monotonic() - began


def _logged(made: World) -> dict[str, int]:
    """What the instances logged, without times and numbers, and how often."""
    found: dict[str, int] = {}
    for handle in made.handles:
        for line in handle.orders.log.read_text().splitlines() if handle.orders.log.exists() else ():
            words = re.sub(r"\d+", "n", line[24:])
            found[words] = found.get(words, 0) + 1
    return found


@contextmanager
def connections_cut(_folder: Path) -> Iterator[Staged]:
    """Every session of the database ended by its administrator, again and again."""
    with own_cluster() as cluster:
        yield Staged(here(cluster.url, INSTANCES["postgres"]), lambda _: _cutting(cluster), ())


@contextmanager
def _cutting(cluster: Cluster) -> Iterator[None]:
    over = threading.Event()

    def cut() -> None:
        with psycopg.connect(cluster.address, autocommit=True) as admin:
            while not over.wait(0.2):
                admin.execute(
                    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                    "WHERE backend_type = 'client backend' AND pid <> pg_backend_pid()"
                )

    cutting = threading.Thread(target=cut)
    cutting.start()
    try:
        yield
    finally:
        over.set()
        cutting.join()


@contextmanager
def server_away(_folder: Path) -> Iterator[Staged]:
    """The PostgreSQL server crashes, stays away and comes back."""

    @contextmanager
    def away(_world: World) -> Iterator[None]:
        cluster.control("stop", "-m", "immediate")
        try:
            yield
        finally:
            cluster.control("start")

    with own_cluster() as cluster:
        count = INSTANCES["postgres"]
        yield Staged(here(cluster.url, count), away, tuple(range(count)))


@contextmanager
def server_disk_full(_folder: Path) -> Iterator[Staged]:
    """The disk of the PostgreSQL server is full."""
    with small_disk(160) as disk, own_cluster(disk / "data") as cluster:
        count = INSTANCES["postgres"]
        yield Staged(here(cluster.url, count), lambda _: full(disk), tuple(range(count)))


@contextmanager
def disk_full(_folder: Path) -> Iterator[Staged]:
    """The disk under the SQLite file is full."""
    with small_disk(24) as disk, sqlite_database(disk) as database:
        yield Staged(here(database, 1), lambda _: full(disk), (0,))


@contextmanager
def disk_reads_only(_folder: Path) -> Iterator[Staged]:
    """The file system under the SQLite file fails and goes read-only; it is mended while the service is stopped."""

    @contextmanager
    def failing(world: World) -> Iterator[None]:
        disk.abort()
        try:
            yield
        finally:
            world.handles[0].stop()
            world.desk.store.close()
            disk.mend()
            world.handles[0].start()

    with disk_on_a_file(64) as disk, sqlite_database(disk.path) as database:
        yield Staged(here(database, 1), failing, (0,))


@contextmanager
def network_cut(_folder: Path) -> Iterator[Staged]:
    """One of three instances loses its network: nothing is refused, everything just gets no answer."""
    with network() as net, own_cluster(listen=net.here) as cluster:
        places = (("127.0.0.1", None), ("127.0.0.1", None), (net.there, net.namespace))
        yield Staged(Site(cluster.url, places, net.here), lambda _: unplugged(net), (2,))


@contextmanager
def instance_paused(_folder: Path) -> Iterator[Staged]:
    """One of three instances stands still, as a machine that is moved or suspended, and goes on."""

    @contextmanager
    def paused(world: World) -> Iterator[None]:
        process = world.handles[2].process
        assert process is not None
        assert process.pid is not None
        os.kill(process.pid, signal.SIGSTOP)
        try:
            yield
        finally:
            os.kill(process.pid, signal.SIGCONT)

    with own_cluster() as cluster:
        yield Staged(here(cluster.url, INSTANCES["postgres"]), paused, ())


FAULTS: dict[str, Stage] = {
    "connections-cut": connections_cut,
    "server-away": server_away,
    "server-disk-full": server_disk_full,
    "disk-full": disk_full,
    "disk-reads-only": disk_reads_only,
    "network-cut": network_cut,
    "instance-paused": instance_paused,
}
