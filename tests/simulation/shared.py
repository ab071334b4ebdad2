"""Several instances that share a PostgreSQL database, interleaved by one thread at statement boundaries."""

import atexit
import os
from collections.abc import Iterable, Sequence
from functools import cache
from typing import Any

import psycopg

from service.engine.clock import SteppedClock
from service.store.base import Store
from tests.simulation.chance import dice
from tests.simulation.instance import Instance
from tests.simulation.interleaving import Interleaving, Task, gives_way, waiting
from tests.simulation.town import Town
from tests.simulation.world import Job
from tests.store.conftest import DICTIONARY_ORDER, database_url, new_name, on_server

PATIENCE = 600.0
"""Real seconds for which a lock may be waited for: the order is ours, not that of the server's clock."""


@cache
def _template() -> str:
    """A migrated database of this process, from which each world gets a copy."""
    name = new_name()
    on_server(f"CREATE DATABASE {name} TEMPLATE template0 ENCODING 'UTF8' {DICTIONARY_ORDER}")
    atexit.register(on_server, f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
    store = Store(url_of(name))
    store.upgrade()
    store.close()
    return name


def url_of(name: str) -> str:
    return database_url(name).render_as_string(hide_password=False)


class Shared:
    """A world's database and the instances on it."""

    pauses_within = True

    def __init__(self, town: Town, instances: int = 3) -> None:
        self.name = f"{_template()}_{os.getpid()}_{town.seed}"
        on_server(
            f"DROP DATABASE IF EXISTS {self.name} WITH (FORCE)",
            f"CREATE DATABASE {self.name} TEMPLATE {_template()}",
            f"ALTER DATABASE {self.name} SET synchronous_commit = off",
        )
        self.clock = SteppedClock(town.at(town.schools[0], town.days[0], "00:00"))
        plain = database_url(self.name).set(drivername="postgresql").render_as_string(hide_password=False)
        self._side: psycopg.Connection[Any] = psycopg.connect(plain, autocommit=True)
        self._side.execute("SET timezone = 'UTC'")
        self.interleaving = Interleaving(self._side, dice(town.seed, "turns"))
        self.instances = [
            Instance(n, Store(url_of(self.name), wait=PATIENCE), self.clock, town.seed, gives_way)
            for n in range(instances)
        ]

    def run(self, jobs: Sequence[Job]) -> list[Instance]:
        return self._run([Task(instance, do) for instance, do in jobs])

    def resume(self, instance: Instance) -> list[Instance]:
        """Go on with what a paused instance was at."""
        return self._run(self.interleaving.thaw(instance))

    def cut(self, instance: Instance) -> None:
        self.interleaving.cut(instance)

    def _run(self, tasks: Iterable[Task]) -> list[Instance]:
        with waiting(self.interleaving):
            return self.interleaving.run(list(tasks))

    def rows(self, statement: str, values: Sequence[Any]) -> list[Sequence[Any]]:
        return self._side.execute(statement.replace("?", "%s"), tuple(values)).fetchall()

    def close(self) -> None:
        for instance in self.instances:
            instance.paused = False
            with waiting(self.interleaving):
                for task in self.interleaving.thaw(instance):
                    self.interleaving._end(task)
            instance.store.close()
        self._side.close()
        on_server(f"DROP DATABASE IF EXISTS {self.name} WITH (FORCE)")
