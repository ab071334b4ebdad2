"""The wide language, and a morning of the demonstration district."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from languages_wide import LOCALE, Wide

from service import languages

for room in ("web", "wording"):
    sys.path.insert(0, str(Path(__file__).parents[1] / room))

from web_district import Morning  # noqa: E402


@pytest.fixture
def morning(tmp_path: Path) -> Iterator[Morning]:
    """The district at seven in the morning of an ordinary Tuesday."""
    made = Morning(tmp_path / "languages.db")
    yield made
    made.store.close()


@pytest.fixture(scope="session")
def wide_catalogue() -> Wide:
    return Wide()


@pytest.fixture
def wide_language(monkeypatch: pytest.MonkeyPatch, wide_catalogue: Wide) -> None:
    """Everybody reads wide letters."""
    monkeypatch.setattr(languages, "language_for", lambda _: LOCALE)
    monkeypatch.setattr(languages, "offered", lambda: frozenset({"en", LOCALE}))
    monkeypatch.setattr(languages, "catalogue", lambda _: wide_catalogue)
