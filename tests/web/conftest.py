"""A morning of the demonstration district, and the application over it."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from httpx import Response
from web_district import BROWSER, Morning

from service.web.app import create_app


class Phone:
    """Somebody's phone: loads a page and presses its buttons as a browser without scripts would."""

    def __init__(self, client: TestClient) -> None:
        self.client = client

    def look(self, path: str) -> Response:
        """Load a page."""
        return self.client.get(path)

    def word(self, path: str) -> str:
        """The mark of one rendering of a page."""
        found = re.search(r'name="word" value="([^"]+)"', self.look(path).text)
        assert found, "the page holds no form"
        return found[1]

    def press(self, path: str, do: str, word: str | None = None, **more: str) -> Response:
        """Press a button of a freshly loaded page, or of one loaded before."""
        form = {"word": word or self.word(path), "do": do, **more}
        return self.client.post(path, data=form)


@pytest.fixture(scope="session")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with the district configured and the day planned, to be copied."""
    database = tmp_path_factory.mktemp("district") / "planned.db"
    Morning(database).store.close()
    return database


@pytest.fixture
def morning(tmp_path: Path, planned: Path) -> Iterator[Morning]:
    """The district at seven in the morning of an ordinary Tuesday."""
    made = Morning(Path(shutil.copy(planned, tmp_path)))
    yield made
    made.store.close()


@pytest.fixture
def client(morning: Morning) -> Iterator[TestClient]:
    """The application as `serve` runs it, with a key for the board, and a browser that reads HTML."""
    with TestClient(create_app(morning.desk, morning.options()), headers=BROWSER) as made:
        yield made


@pytest.fixture
def phone(client: TestClient) -> Phone:
    """A phone on the application."""
    return Phone(client)
