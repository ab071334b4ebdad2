"""Every released schema, kept as a real database of each kind, is taken over as it is: brought up to today's tables,
proved whole, and served from for the rest of that day and into the next.
"""

import gzip
import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import psycopg
import pytest
from alembic.script import ScriptDirectory

from service.cli import main
from service.engine.clock import SteppedClock
from service.store.base import OlderDatabase, Store
from service.store.versions import scripts
from tests.engine.engine_lived import KEY, lived_desk, play_rest
from tests.engine.engine_morning import broken_streams, messages, results
from tests.store.conftest import postgresql_template, postgresql_url

__all__ = ["postgresql_template", "postgresql_url"]

HERE = Path(__file__).parent
RELEASED = sorted(folder.name for folder in HERE.iterdir() if folder.name.isdecimal())
TODAY = "2026-10-05"
KINDS = ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)]


@dataclass(frozen=True)
class Kept:
    """A released database, laid out afresh, and what was found in it on the day it was made."""

    url: str
    now: datetime
    results: dict[str, str | None]
    entries: int
    head: str


@pytest.fixture(params=RELEASED)
def release(request: pytest.FixtureRequest) -> str:
    found: str = request.param
    return found


@pytest.fixture(params=KINDS)
def kept(request: pytest.FixtureRequest, release: str, tmp_path: Path) -> Kept:
    kind: str = request.param
    expected = json.loads((HERE / release / f"{kind}.json").read_text())
    lay_out: Callable[[], str] = {
        "sqlite": lambda: sqlite_file(HERE / release, tmp_path / "kept.db"),
        "postgresql": lambda: loaded(HERE / release, request.getfixturevalue("postgresql_url")),
    }[kind]
    return Kept(url=lay_out(), **{**expected, "now": datetime.fromisoformat(expected["now"])})


def sqlite_file(release: Path, path: Path) -> str:
    path.write_bytes(gzip.decompress((release / "sqlite.db.gz").read_bytes()))
    return f"sqlite:///{path}"


def loaded(release: Path, url: str) -> str:
    """The dump in place of all that is in the database, loaded as whoever restores one would."""
    sql = gzip.decompress((release / "postgresql.sql.gz").read_bytes())
    with psycopg.connect(url.replace("+psycopg", ""), autocommit=True) as connection:
        connection.execute("DROP SCHEMA public CASCADE; CREATE SCHEMA public")
        connection.execute(sql)
    return url


def verify(url: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> dict[str, object]:
    monkeypatch.setenv("BELLCHECK_DB", url)
    monkeypatch.setenv("BELLCHECK_KEY", KEY)
    code = main(["verify", "--json"])
    found: dict[str, object] = json.loads(capsys.readouterr().out)
    assert code == 0, found
    return found


def test_every_migration_that_was_released_is_kept() -> None:
    newest_first = [script.revision for script in ScriptDirectory.from_config(scripts()).walk_revisions()]
    assert RELEASED
    assert set(RELEASED) <= set(newest_first)


def test_it_is_brought_up_and_proves_with_the_head_that_it_had(
    kept: Kept, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    found = verify(kept.url, monkeypatch, capsys)
    assert (found["entries"], found["head"]) == (kept.entries, kept.head)
    store = Store(kept.url)
    store.check_version()
    assert results(store) == kept.results
    store.close()


def test_a_program_that_only_reads_asks_for_the_new_tables_first(release: str, kept: Kept) -> None:
    newest = ScriptDirectory.from_config(scripts()).get_current_head()
    store = Store(kept.url)
    if release == newest:
        store.check_version()
    else:
        with pytest.raises(OlderDatabase):
            store.check_version()
    store.close()


def test_the_day_goes_on_from_where_it_stood_and_into_the_next(
    kept: Kept, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    store = Store(kept.url)
    store.upgrade()
    desk = lived_desk(store, SteppedClock(kept.now), owner="today's version")
    receivers = play_rest(desk)

    assert set(receivers.arrived.values()) == {1}
    assert [m.id for m in messages(store) if m.state not in ("accepted", "dropped")] == []
    assert [c for c, result in results(store).items() if result is None and TODAY in c] == []
    assert broken_streams(desk) == []
    store.close()
    verify(kept.url, monkeypatch, capsys)
