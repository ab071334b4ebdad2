"""Heads kept outside the database: whoever holds one can be shown that nothing it covers was cut off or rewritten."""

import re

import pytest
from sqlalchemy import text
from store_rows import EIGHT, minutes
from store_together import together

from service.store import seals
from service.store.base import Store
from service.store.journal import Journal
from service.store.seals import Kept

KEY = b"a key from outside the database"
ELM, OAK = "elm/2026-09-14", "oak/2026-09-14"


@pytest.fixture
def journal() -> Journal:
    return Journal(KEY)


def append(store: Store, journal: Journal, *streams: str) -> None:
    with store.transaction() as tx:
        for stream in streams:
            journal.append(tx, stream, EIGHT, "tick")


def sealed(store: Store, journal: Journal, at: int = 0) -> Kept:
    with store.transaction() as tx:
        found, _ = seals.seal(tx, journal, minutes(at))
    assert found is not None
    return found


def bad(store: Store, journal: Journal) -> str | None:
    with store.reading() as tx:
        found = seals.first_bad(tx, journal)
    return str(found) if found else None


def missing(store: Store, head: Kept | str) -> str | None:
    with store.reading() as tx:
        return seals.missing(tx, str(head))


def tampered(store: Store, *statements: str) -> None:
    with store.transaction() as tx:
        for table in ("journal", "seal_heads"):
            if store.dialect == "postgresql":
                tx.exec(text(f"ALTER TABLE {table} DISABLE TRIGGER ALL"))
        if store.dialect == "sqlite":
            for (name,) in tx.exec(text("SELECT name FROM sqlite_master WHERE type = 'trigger'")).all():
                tx.exec(text(f"DROP TRIGGER {name}"))
        for statement in statements:
            assert tx.connection().exec_driver_sql(statement).rowcount > 0


def test_an_empty_journal_has_no_head(store: Store, journal: Journal) -> None:
    with store.transaction() as tx:
        assert seals.seal(tx, journal, EIGHT) == (None, False)
    assert bad(store, journal) is None


def test_a_head_covers_all_entries_and_the_next_only_names_what_has_grown(
    store: Store, journal: Journal
) -> None:
    append(store, journal, ELM, ELM, OAK)
    first = sealed(store, journal)
    append(store, journal, OAK)
    second = sealed(store, journal, 5)
    assert [(h.n, h.at, h.entries) for h in (first, second)] == [(1, EIGHT, 3), (2, minutes(5), 4)]
    with store.reading() as tx:
        rows = tx.exec(text("SELECT body FROM seal_heads ORDER BY n")).scalars().all()
    assert [re.findall(r"(?:elm|oak)/", str(row)) for row in rows] == [["elm/", "oak/"], ["oak/"]]
    assert bad(store, journal) is None


def test_where_nothing_was_written_the_last_head_stays(store: Store, journal: Journal) -> None:
    append(store, journal, ELM)
    assert sealed(store, journal) == sealed(store, journal, 60)


def test_an_older_head_is_found_again_after_more_was_written(store: Store, journal: Journal) -> None:
    append(store, journal, ELM)
    kept = sealed(store, journal)
    append(store, journal, ELM, OAK)
    sealed(store, journal, 5)
    assert missing(store, kept) is None
    assert missing(store, f"  {kept}\n") is None


def test_an_end_that_was_cut_off_with_its_head_shows(store: Store, journal: Journal) -> None:
    append(store, journal, ELM, ELM)
    with store.reading() as tx:
        first_seal = tx.exec(text("SELECT seal FROM journal WHERE n = 1")).scalar_one()
    sealed(store, journal)
    tampered(
        store,
        "DELETE FROM journal WHERE n = 2",
        f"UPDATE journal_heads SET n = 1, seal = '{first_seal}'",
    )
    assert bad(store, journal) == f"{ELM}: entry 2: it stood here at head 1; now there is none, or another"


def test_a_stream_taken_out_whole_shows(store: Store, journal: Journal) -> None:
    append(store, journal, ELM, OAK)
    sealed(store, journal)
    tampered(store, f"DELETE FROM journal WHERE stream = '{OAK}'", f"DELETE FROM journal_heads WHERE stream = '{OAK}'")
    assert "oak/2026-09-14: entry 1" in str(bad(store, journal))


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE seal_heads SET entries = 3 WHERE n = 2",
        "UPDATE seal_heads SET seal = replace(seal, substr(seal, 1, 1), 'x') WHERE n = 2",
        "UPDATE seal_heads SET body = '{\"streams\":[]}' WHERE n = 2",
        "UPDATE seal_heads SET at = '2026-09-14 12:05:00.000001' WHERE n = 2",
        "UPDATE seal_heads SET n = 9 WHERE n = 2",
        "DELETE FROM seal_heads WHERE n = 2",
    ],
)
def test_a_changed_head_shows_where_it_is(store: Store, journal: Journal, change: str) -> None:
    for at in range(3):
        append(store, journal, ELM)
        sealed(store, journal, at)
    tampered(store, change)
    assert str(bad(store, journal)).startswith("heads: entry 2:")


def test_heads_cut_off_at_the_end_show_only_against_one_that_was_kept(store: Store, journal: Journal) -> None:
    append(store, journal, ELM)
    sealed(store, journal)
    append(store, journal, OAK)
    kept = sealed(store, journal, 5)
    tampered(store, "DELETE FROM seal_heads WHERE n = 2")
    assert bad(store, journal) is None
    assert missing(store, kept) == "the heads end at 1: what was written up to head 2 was cut off"


def test_a_journal_written_anew_does_not_have_the_head_that_was_kept(store: Store, journal: Journal) -> None:
    append(store, journal, ELM)
    kept = sealed(store, journal)
    assert "rewritten" in str(missing(store, f"1-{'0' * 64}"))
    assert "rewritten" in str(missing(store, f"{kept.n}-{kept.seal[:-1]}é"))
    for no_head in ("", "12", "x-y", "-3-abc"):
        assert "no head" in str(missing(store, no_head))


def test_two_instances_that_make_a_head_at_once_leave_one_chain(opened, journal: Journal) -> None:  # type: ignore[no-untyped-def]
    stores = [opened(wait=20), opened(wait=20)]

    def write(store: Store, stream: str) -> None:
        for n in range(8):
            append(store, journal, stream)
            with store.transaction() as tx:
                seals.seal(tx, journal, minutes(n))

    together(lambda: write(stores[0], ELM), lambda: write(stores[1], OAK))
    assert sealed(stores[0], journal, 30).entries == 16
    assert bad(stores[0], journal) is None
