"""One instance of the service as a process of its own: the real wiring, pages, lanes and scheduler, on the
morning's clock.
"""

import ctypes
import logging
import os
import signal
from collections import Counter
from dataclasses import dataclass, field
from datetime import timedelta
from multiprocessing import get_context
from multiprocessing.context import ForkServerContext
from multiprocessing.process import BaseProcess
from pathlib import Path

from service.engine import lanes, postman, waker
from service.serving import serve
from service.settings import Settings
from service.wiring import build
from tests.faults.town import SECRET
from tests.faults.world_clock import WorldClock

KEY = b"k" * 40


@dataclass(frozen=True)
class Orders:
    """What an instance is told. `die_at` names a boundary of a commit and which time it is passed (1: the first)."""

    number: int
    database: str
    folder: str
    port: int
    chat_url: str
    speed: float
    host: str = "127.0.0.1"
    namespace: str | None = None
    die_at: tuple[str, int] | None = None

    @property
    def log(self) -> Path:
        """Where the instance logs."""
        return Path(self.folder) / f"instance{self.number}.log"


@dataclass
class _Boundaries:
    """Ends the process at the commit it was told."""

    name: str
    nth: int
    passed: Counter[str] = field(default_factory=Counter)

    def __call__(self, name: str) -> None:
        self.passed[name] += 1
        if name == self.name and self.passed[name] == self.nth:
            os.kill(os.getpid(), signal.SIGKILL)


def live(orders: Orders) -> None:
    """Serve until told to stop; what the service logs goes into the folder."""
    if orders.namespace is not None:
        enter(orders.namespace)
    logging.basicConfig(
        filename=orders.log,
        level=logging.WARNING,
        format="%(asctime)s %(levelname)s %(name)s %(message)s",
        force=True,
    )
    logging.getLogger("apscheduler").setLevel(logging.ERROR)
    in_proportion(orders.speed)
    service = build(settings(orders), WorldClock(Path(orders.folder) / "clock", orders.speed))
    if orders.die_at is not None:
        service.desk.store.on_commit = _Boundaries(*orders.die_at)
    try:
        serve(service, lambda _address: None)
    finally:
        service.close()


def enter(namespace: str) -> None:
    """Move this process into a network namespace (setns(2), which Python offers from 3.12 on)."""
    with open(f"/var/run/netns/{namespace}") as held:
        if ctypes.CDLL(None, use_errno=True).setns(held.fileno(), 0):
            raise OSError(ctypes.get_errno(), "the network namespace cannot be entered")


def settings(orders: Orders) -> Settings:
    """The environment of an instance; each has the receiver's address under a path of its own."""
    return Settings(
        orders.database,
        orders.host,
        orders.port,
        f"http://{orders.host}:{orders.port}",
        board_key="a board key",
        server_key=KEY,
        named={"CHAT_URL": f"{orders.chat_url}/{orders.number}/{{address}}", "CHAT_SECRET": SECRET},
    )


def in_proportion(speed: float) -> None:
    """What runs on real time keeps its measure beside a morning that runs `speed` times as fast, within reason."""
    postman.LEASE = max(postman.LEASE / speed, timedelta(seconds=1.5))
    lanes.TURN_WITHIN = postman.LEASE * 0.75
    waker.LOOK_EVERY = max(waker.LOOK_EVERY / speed, timedelta(seconds=0.25))
    waker.BEAT_EVERY = max(waker.BEAT_EVERY / speed, timedelta(seconds=0.5))


def processes() -> ForkServerContext:
    """Where instances are started from: a server that has loaded everything and has no threads."""
    context = get_context("forkserver")
    context.set_forkserver_preload(["tests.faults.instance"])
    return context


def start(orders: Orders) -> BaseProcess:
    """An instance, started."""
    process = processes().Process(target=live, args=(orders,), daemon=True)
    process.start()
    return process
