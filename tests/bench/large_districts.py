"""Made districts of any size, put into force without the time that applying them takes."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from sqlalchemy import insert

from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.store import configuration
from service.store.base import Store
from service.store.tables import ConfigEntry, table_of
from tests.engine.engine_district import Documents
from tests.engine.engine_morning import at, open_desk
from tests.store.conftest import database_url, new_name, on_server

ROOMS, CHILDREN = 25, 10
"""Of one school: so that 400 schools have 100,000 students."""


@contextmanager
def fresh() -> Iterator[Store]:
    """An empty SQLite database in a folder of its own."""
    with TemporaryDirectory() as folder:
        store = Store(f"sqlite:///{Path(folder) / 'bench.db'}")
        store.upgrade()
        yield store
        store.close()


def put_into_force(store: Store, documents: Documents) -> None:
    """Write the configuration as applying it would have; nothing is planned."""
    now = at("07:00")
    written: dict[str, Any] = {"applied_at": now, "removed_at": None, "by": "bench"}
    with store.transaction() as tx:
        rows = [
            {"section": section, "id": id, "body": body, **written}
            for section, entries in documents.items()
            for id, body in entries.items()
        ]
        if rows:
            tx.connection().execute(insert(table_of(ConfigEntry)), rows)
        configuration.bump(tx, now, "bench", "bench")


def desk_over(store: Store, wall: str = "07:00", owner: str = "one") -> Desk:
    """A desk on a stepped clock; it reads the configuration when it is first needed."""
    return open_desk(store, SteppedClock(at(wall)), owner)


@contextmanager
def on_postgresql(source: str = "template0") -> Iterator[str]:
    """The address of a database of our own, empty or a copy of `source`."""
    name = new_name()
    on_server(f"CREATE DATABASE {name} TEMPLATE {source}")
    try:
        yield database_url(name).render_as_string(hide_password=False)
    finally:
        on_server(f"DROP DATABASE {name} WITH (FORCE)")
