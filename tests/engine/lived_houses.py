"""Databases in which a day and a morning are over: lived once for each kind of database, and copied for each test."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.engine import commands
from service.engine.clock import SteppedClock
from service.store.base import Store
from tests.engine.engine_lived import NEXT, lived_desk, play_morning, play_rest
from tests.engine.engine_morning import at
from tests.store.conftest import database_url, new_name, on_server

OVER = at("11:00", NEXT)
"""Where the lived time ends."""


def live(url: str) -> None:
    """A day and a morning of the demonstration district, with a notice about one child, into a migrated database."""
    store = Store(url)
    desk = lived_desk(store, SteppedClock(at("07:00")))
    play_morning(desk)
    commands.give_notice(desk, "away Wren 2026-10-08", "c-reed", "hollow-road")
    play_rest(desk)
    store.close()


@pytest.fixture(scope="session")
def lived_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The SQLite file that is copied."""
    path = tmp_path_factory.mktemp("lived") / "bellcheck.db"
    store = Store(f"sqlite:///{path}")
    store.upgrade()
    store.close()
    live(f"sqlite:///{path}")
    return path


@pytest.fixture(scope="session")
def lived_database(postgresql_template: str) -> Iterator[str]:
    """The database on the server that is copied."""
    name = new_name()
    on_server(f"CREATE DATABASE {name} TEMPLATE {postgresql_template}")
    try:
        live(database_url(name).render_as_string(hide_password=False))
        yield name
    finally:
        on_server(f"DROP DATABASE {name} WITH (FORCE)")


def file_copy(source: Path, folder: Path) -> Path:
    """A copy of a closed SQLite database, under the name that all tests use."""
    return Path(shutil.copy(source, folder / "bellcheck.db"))


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def lived_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a lived database of this test's own, of either kind."""
    if request.param == "sqlite":
        yield f"sqlite:///{file_copy(request.getfixturevalue('lived_file'), tmp_path)}"
        return
    name = new_name()
    on_server(f"CREATE DATABASE {name} TEMPLATE {request.getfixturevalue('lived_database')}")
    try:
        yield database_url(name).render_as_string(hide_password=False)
    finally:
        on_server(f"DROP DATABASE {name} WITH (FORCE)")
