"""One instance of the service in the simulated world: a desk over a store, which may be ended at any statement."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from itertools import count

from sqlalchemy import event

from service.engine import planner, waker
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.store import marks
from service.store.base import Store
from service.store.journal import Journal

KEY = b"a key for tests, thirty-two bytes"


class Ended(BaseException):
    """The process is gone, between two statements."""


@dataclass
class Instance:
    """`life` counts its starts; `left` is how many statements it has before it is ended (None: no such plan), or
    paused where it is `pausing`. `busy`: it is at a job; `cut`: the server has closed its connections.
    """

    number: int
    store: Store
    clock: SteppedClock
    seed: int
    at_statement: Callable[["Instance"], None] = lambda _: None
    up: bool = True
    life: int = 0
    left: int | None = None
    busy: bool = False
    pausing: bool = False
    paused: bool = False
    cut: bool = False
    desk: Desk = field(init=False)
    _salts: "count[int]" = field(default_factory=count)

    def __post_init__(self) -> None:
        event.listen(self.store._engine, "before_execute", self._statement)
        self.store.on_commit = lambda _moment: self._boundary()
        self.desk = self._desk()

    def start_again(self, alive_until: datetime, now: datetime) -> None:
        """What a new process does first: it sees how long the service was down, and plans."""
        self.up, self.life, self.left, self.pausing = True, self.life + 1, None, False
        held = self.desk.silence_held_until
        self.desk = self._desk()
        self.looks_back(alive_until, now, held)
        planner.plan_all(self.desk)

    def looks_back(self, alive_until: datetime, now: datetime, held: datetime | None = None) -> None:
        """Find the last heartbeat of the service, and hold silence back where it was down, or still `held`."""
        with self.desk.moment(now) as m:
            marks.set(m.tx, waker.HEARTBEAT, alive_until, {"held": held.isoformat() if held else None})
        waker.catch_up(self.desk, now)

    def _desk(self) -> Desk:
        journal = Journal(KEY, self._salt)
        return Desk(self.store, self.clock, journal, KEY, f"i{self.number}-{self.life}")

    def _salt(self, length: int) -> bytes:
        return hashlib.sha256(f"{self.seed}/{self.number}/{next(self._salts)}".encode()).digest()[:length]

    def _statement(self, *_: object, **__: object) -> None:
        self._boundary()

    def _boundary(self) -> None:
        if not self.busy:
            return
        if self.left is not None:
            self.left -= 1
            if self.left < 0:
                self.left = None
                if not self.pausing:
                    raise Ended
                self.paused, self.pausing = True, False
        self.at_statement(self)
