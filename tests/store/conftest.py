"""A store on each database: SQLite in a file of its own, PostgreSQL in a database of its own."""

import os
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path

import psycopg
import pytest
from sqlalchemy.engine import URL, make_url

from service.store.base import Store

SERVER = os.environ.get("BELLCHECK_POSTGRES", "postgresql+psycopg://postgres@127.0.0.1:5432/postgres")

# As on many a district's server; PostgreSQL's "CREATE DATABASE" describes the words.
DICTIONARY_ORDER = "LOCALE 'C' LOCALE_PROVIDER icu ICU_LOCALE 'en-US'"

Opener = Callable[..., Store]


def on_server(*statements: str) -> None:
    """Run statements on the server, outside any transaction."""
    url = make_url(SERVER).set(drivername="postgresql").render_as_string(hide_password=False)
    with psycopg.connect(url, autocommit=True, connect_timeout=3) as connection:
        for statement in statements:
            connection.execute(statement)


def new_name() -> str:
    return f"bellcheck_test_{uuid.uuid4().hex[:12]}"


@pytest.fixture(scope="session")
def postgresql_template() -> Iterator[str]:
    """A migrated database that each test gets a copy of; dropped at the end of the run."""
    name = new_name()
    try:
        on_server(f"CREATE DATABASE {name} TEMPLATE template0 ENCODING 'UTF8' {DICTIONARY_ORDER}")
    except psycopg.OperationalError:
        if os.environ.get("BELLCHECK_ALL") == "1":
            pytest.fail(f"no PostgreSQL server answers at {make_url(SERVER).host}, and everything is to run")
        pytest.skip("PostgreSQL: no server answers (name one in BELLCHECK_POSTGRES)")
    try:
        store = Store(database_url(name).render_as_string(hide_password=False))
        store.upgrade()
        store.close()
        yield name
    finally:
        on_server(f"DROP DATABASE {name} WITH (FORCE)")


def database_url(name: str) -> URL:
    return make_url(SERVER).set(database=name)


@pytest.fixture
def postgresql_url(postgresql_template: str) -> Iterator[str]:
    """The address of a migrated database of this test's own."""
    name = new_name()
    on_server(f"CREATE DATABASE {name} TEMPLATE {postgresql_template}")
    try:
        yield database_url(name).render_as_string(hide_password=False)
    finally:
        on_server(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of a migrated database of either kind."""
    if request.param == "postgresql":
        address: str = request.getfixturevalue("postgresql_url")
        return address
    address = f"sqlite:///{tmp_path / 'bellcheck.db'}"
    store = Store(address)
    store.upgrade()
    store.close()
    return address


@pytest.fixture
def opened(url: str) -> Iterator[Opener]:
    """Opens further stores on the same database, as other processes would."""
    stores: list[Store] = []

    def open_store(wait: float = 5.0) -> Store:
        stores.append(Store(url, wait=wait))
        return stores[-1]

    yield open_store
    for store in stores:
        store.close()


@pytest.fixture
def store(opened: Opener) -> Store:
    return opened()
