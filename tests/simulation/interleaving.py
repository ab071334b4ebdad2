"""Several instances in one thread: each job runs in a greenlet and gives way at every statement; who goes on is drawn.

A statement that would wait for a lock gives way too. That is found out by asking the server: while a connection has no
answer yet and nobody stands in its way, the server is at work and is waited for; while somebody does, others go on.
So the order in which things happen depends on the seed alone.
"""

import select
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from random import Random
from typing import Any

import psycopg
from greenlet import getcurrent, greenlet
from psycopg.waiting import Ready, Wait

from tests.simulation.checker import Broken
from tests.simulation.instance import Ended, Instance

LOOK_AFTER = 0.003
"""How long, in real seconds, an answer may take before the server is asked whether it waits for a lock."""


@dataclass(eq=False)
class Task:
    """One job under way. `waits` is the connection whose statement was found to wait for a lock."""

    instance: Instance
    job: Callable[[], object]
    green: greenlet = field(init=False)
    waits: "psycopg.Connection[Any] | None" = None
    broken: Exception | None = None
    ended: bool = False
    used: dict[int, "psycopg.Connection[Any]"] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.green = greenlet(self._run)
        self.green.task = self

    def _run(self) -> None:
        try:
            self.job()
        except Ended:
            self.ended = True
        except Exception as wrong:
            self.broken = wrong


@dataclass
class Interleaving:
    """Runs tasks until all are done that are not held up; `side` is a connection that no instance uses."""

    side: "psycopg.Connection[Any]"
    chance: Random
    held: list[Task] = field(default_factory=list)

    def run(self, tasks: list[Task]) -> list[Instance]:
        """Run tasks to their end; says which instances were ended by force. Those of a paused instance are held."""
        ended: list[Instance] = []
        while tasks:
            ready = self._ready(tasks)
            if not ready:
                self._free(tasks)
                continue
            task = self.chance.choice(ready)
            task.waits = None
            task.instance.busy = True
            task.green.switch()
            task.instance.busy = False
            if task.green.dead and task.ended:
                ended.append(task.instance)
                for other in [t for t in (*tasks, *self.held) if t.instance is task.instance]:
                    self._end(other)
            self.held += [t for t in tasks if t.instance.paused and not t.green.dead]
            tasks = [t for t in tasks if not t.green.dead and not t.instance.paused]
            if task.broken is not None and not task.instance.cut:
                raise task.broken
        return ended

    def thaw(self, instance: Instance) -> list[Task]:
        """The tasks that a paused instance was at, to be gone on with."""
        mine = [t for t in self.held if t.instance is instance]
        self.held = [t for t in self.held if t.instance is not instance]
        return mine

    def _end(self, task: Task) -> None:
        """The process is gone: its connections are closed, whatever they were at."""
        for connection in task.used.values():
            connection.close()
        while task.green and not task.green.dead:
            task.green.throw(Ended)
        self.held = [t for t in self.held if t is not task]

    def _ready(self, tasks: list[Task]) -> list[Task]:
        return [t for t in tasks if t.waits is None or not self.is_blocked(t.waits)]

    def _free(self, tasks: list[Task]) -> None:
        """Everybody waits for a lock: for one that a paused instance holds, which the server ends for being idle in
        the midst of a transaction; else for one another.
        """
        if not self.held:
            raise Broken("3: all instances wait for one another's locks")
        for task in self.held:
            self.cut(task.instance)

    def cut(self, instance: Instance) -> None:
        """The server ends the sessions of an instance that stands still in the midst of a transaction."""
        for task in [t for t in self.held if t.instance is instance]:
            instance.cut = True
            for connection in task.used.values():
                if not connection.closed:
                    asked = "SELECT pg_terminate_backend(%s)"
                    self.side.execute(asked, (connection.info.backend_pid,))

    def is_blocked(self, connection: "psycopg.Connection[Any]") -> bool:
        """Whether the statement of a connection waits for a lock; waits for the server while it is at work."""
        while not select.select([connection.pgconn.socket], [], [], LOOK_AFTER)[0]:
            asked = "SELECT cardinality(pg_blocking_pids(%s)) > 0"
            row = self.side.execute(asked, (connection.info.backend_pid,)).fetchone()
            if row and row[0]:
                return True
        return False


def gives_way(_instance: Instance) -> None:
    """At a statement: let the driver draw who goes on."""
    task = getattr(getcurrent(), "task", None)
    if task is not None:
        getcurrent().parent.switch()


@contextmanager
def waiting(interleaving: Interleaving) -> Iterator[None]:
    """While this lasts, connections used within tasks wait for the server in a way that gives way to others."""
    plain = psycopg.Connection.wait

    def wait(self: Any, gen: Any, interval: float = 0.1, timeout: float | None = None) -> Any:
        task = getattr(getcurrent(), "task", None)
        if task is None or self is interleaving.side:
            return plain(self, gen, interval, timeout)
        task.used[id(self)] = self
        return _waited(self, gen, task, interleaving)

    psycopg.Connection.wait = wait  # type: ignore[assignment]
    try:
        yield
    finally:
        psycopg.Connection.wait = plain  # type: ignore[method-assign]


def _waited(connection: Any, gen: Any, task: Task, interleaving: Interleaving) -> Any:
    try:
        wanted = next(gen)
        while True:
            reads = [connection.pgconn.socket] if wanted & Wait.R else []
            writes = [connection.pgconn.socket] if wanted & Wait.W else []
            can_read, can_write, _ = select.select(reads, writes, [], LOOK_AFTER)
            if not can_read and not can_write:
                if interleaving.is_blocked(connection):
                    task.waits = connection
                    getcurrent().parent.switch()
                continue
            ready = (Ready.R if can_read else 0) | (Ready.W if can_write else 0)
            wanted = gen.send(Ready(ready))
    except StopIteration as done:
        return done.value
