"""A desk on each database, with a made district planned for a Monday."""

from collections.abc import Callable, Iterator

import pytest

from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.store.base import Store
from tests.engine.engine_morning import at, open_desk
from tests.store.conftest import postgresql_template, postgresql_url, url

__all__ = ["postgresql_template", "postgresql_url", "url"]

Opener = Callable[..., Desk]


@pytest.fixture
def clock() -> SteppedClock:
    return SteppedClock(at("07:00"))


@pytest.fixture
def opened(url: str, clock: SteppedClock) -> Iterator[Opener]:
    """Opens desks on one database and one clock, as several instances would."""
    stores: list[Store] = []

    def open_one(owner: str = "one") -> Desk:
        stores.append(Store(url))
        return open_desk(stores[-1], clock, owner)

    yield open_one
    for store in stores:
        store.close()


@pytest.fixture
def desk(opened: Opener) -> Desk:
    return opened()
