"""The migrations make exactly the tables that the classes describe, and a journal that cannot be changed."""

from pathlib import Path
from threading import Barrier
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import text
from store_rows import EIGHT
from store_together import together

from service.store import seals
from service.store.base import DatabaseConflict, Store
from service.store.journal import Journal
from service.store.tables import Row, ServiceMark
from service.store.versions import scripts

INDEX_TEXTS = {
    "sqlite": "SELECT name, sql FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL",
    "postgresql": "SELECT indexname, indexdef FROM pg_indexes WHERE schemaname = 'public'",
}


def test_migrations_and_classes_agree(store: Store) -> None:
    with store.reading() as tx:
        context = MigrationContext.configure(tx.connection(), opts={"compare_type": True})
        assert compare_metadata(context, Row.metadata) == []


def test_indexes_over_part_of_a_table_are_over_that_part(store: Store) -> None:
    with store.reading() as tx:
        indexes = dict(tx.exec(text(INDEX_TEXTS[store.dialect])).all())
    partial = {name for name, sql in indexes.items() if "WHERE" in sql}
    described = {
        index.name
        for table in Row.metadata.tables.values()
        for index in table.indexes
        if index.dialect_options[store.dialect]["where"] is not None
    }
    assert partial == described
    assert described == {
        "ix_chases_student",
        "ix_chases_wake_at_id",
        "ix_faults_wake_at_id",
        "ix_journal_heads_stream",
        "ix_tray_not_before",
    }


def test_there_is_one_line_of_migrations() -> None:
    assert len(ScriptDirectory.from_config(scripts()).get_heads()) == 1


def test_bringing_up_twice_changes_nothing(store: Store) -> None:
    with store.transaction() as tx:
        tx.add(ServiceMark(key="heartbeat", at=EIGHT))
    store.upgrade()
    with store.reading() as tx:
        assert tx.get(ServiceMark, "heartbeat").at == EIGHT


def test_foreign_keys_are_watched_again_after_bringing_up(tmp_path: Path) -> None:
    store = Store(f"sqlite:///{tmp_path / 'new.db'}")
    store.upgrade()
    with store.reading() as tx:
        assert tx.connection().exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
    store.close()


def test_processes_that_start_together_bring_it_up_once(url: str, tmp_path: Path) -> None:
    fresh = f"sqlite:///{tmp_path / 'together.db'}" if url.startswith("sqlite") else emptied(url)
    stores = [Store(fresh, wait=20) for _ in range(3)]
    start = Barrier(3)

    def bring_up(store: Store) -> None:
        start.wait(10)
        store.upgrade()

    together(*[lambda store=store: bring_up(store) for store in stores])
    for store in stores:
        store.check_version()
        store.close()


def emptied(url: str) -> str:
    """A PostgreSQL database with nothing in it."""
    store = Store(url)
    with store.transaction() as tx:
        tx.exec(text("DROP SCHEMA public CASCADE"))
        tx.exec(text("CREATE SCHEMA public"))
    store.close()
    return url


CHANGES = [
    "UPDATE journal SET kind = 'something else'",
    "UPDATE journal SET n = n + 1",
    "DELETE FROM journal",
    "DELETE FROM journal WHERE n = 1",
    "INSERT INTO journal SELECT * FROM journal",
]


@pytest.mark.parametrize("change", CHANGES)
def test_the_journal_refuses_to_be_changed(store: Store, change: str) -> None:
    assert_refused(store, change)


@pytest.mark.parametrize("change", ["UPDATE seal_heads SET seal = 'x'", "DELETE FROM seal_heads"])
def test_heads_refuse_to_be_changed(store: Store, change: str) -> None:
    journal = Journal(b"key")
    with store.transaction() as tx:
        journal.append(tx, "elm/2026-09-14", EIGHT, "round asked")
        seals.seal(tx, journal, EIGHT)
    with pytest.raises(DatabaseConflict), store.transaction() as tx:
        tx.exec(text(change))


def test_the_journal_refuses_the_short_ways_around(store: Store) -> None:
    if store.dialect == "sqlite":
        assert_refused(store, "INSERT OR REPLACE INTO journal SELECT * FROM journal")
        assert_refused(store, "UPDATE OR REPLACE journal SET kind = 'something else'")
    else:
        assert_refused(store, "TRUNCATE journal")


def assert_refused(store: Store, change: str) -> None:
    journal: Any = Journal(b"key")
    with store.transaction() as tx:
        journal.append(tx, "elm/2026-09-14", EIGHT, "round asked")
    with pytest.raises(DatabaseConflict), store.transaction() as tx:
        tx.exec(text(change))
    with store.reading() as tx:
        kinds = [recorded.entry.kind for recorded in journal.read(tx, "elm/2026-09-14")]
    assert set(kinds) == {"round asked"}
