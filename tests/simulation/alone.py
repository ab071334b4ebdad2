"""One instance on SQLite in memory."""

import sqlite3
from collections.abc import Sequence
from functools import cache
from typing import Any

from service.engine.clock import SteppedClock
from service.store.base import Store
from tests.simulation.instance import Ended, Instance
from tests.simulation.town import Town
from tests.simulation.world import Job


@cache
def _migrated() -> bytes:
    """An empty database of today's tables."""
    store = Store("sqlite://")
    store.upgrade()
    made = raw(store).serialize()
    store.close()
    return made


def raw(store: Store) -> sqlite3.Connection:
    """The one connection of a store in memory, for whoever reads beside the service."""
    with store._engine.connect() as connection:
        held = connection.connection.driver_connection
    assert isinstance(held, sqlite3.Connection)
    return held


class Alone:
    """Jobs one after the other."""

    pauses_within = False

    def __init__(self, town: Town) -> None:
        self.clock = SteppedClock(town.at(town.schools[0], town.days[0], "00:00"))
        self.store = Store("sqlite://")
        self._raw = raw(self.store)
        self._raw.deserialize(_migrated())
        self.instances = [Instance(0, self.store, self.clock, town.seed)]

    def run(self, jobs: Sequence[Job]) -> list[Instance]:
        for instance, do in jobs:
            instance.busy = True
            try:
                do()
            except Ended:
                return [instance]
            finally:
                instance.busy = False
        return []

    def resume(self, instance: Instance) -> list[Instance]:
        return []

    def cut(self, instance: Instance) -> None:
        """SQLite has no server that could."""

    def rows(self, statement: str, values: Sequence[Any]) -> list[Sequence[Any]]:
        return list(self._raw.execute(statement, tuple(values)))

    def close(self) -> None:
        self.store.close()
