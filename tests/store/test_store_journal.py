"""The journal: numbered without gaps, sealed so that any change shows, forgetful where it must be."""

import hashlib
import hmac
import itertools
from collections.abc import Callable, Iterator
from datetime import UTC
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import text
from sqlmodel import col, select
from store_rows import EIGHT, minutes
from store_together import together

from service.store import journal as journal_module
from service.store.base import Store
from service.store.journal import Entry, Journal
from service.store.proof import first_bad
from service.store.tables import JournalRow, JournalValue

STREAM = "elm/2026-09-14"
KEY = b"a key from outside the database"


def counting_salts() -> Callable[[int], bytes]:
    numbers = itertools.count(1)
    return lambda size: next(numbers).to_bytes(size, "big")


@pytest.fixture
def journal() -> Journal:
    return Journal(KEY, counting_salts())


def append(store: Store, journal: Journal, kind: str, **more: Any) -> int:
    with store.transaction() as tx:
        return journal.append(tx, more.pop("stream", STREAM), more.pop("at", EIGHT), kind, **more)


def filled(store: Store, journal: Journal) -> None:
    append(store, journal, "round planned", cause=["calendar"], actor="service", body={"due": "08:05"})
    append(store, journal, "round asked", cause=["round-1"], body={"n": 2}, at=minutes(5))
    append(store, journal, "reply read", cause=["in-1"], actor="l-teal", personal={"words": "2 no sound"})


def verdict(store: Store, journal: Journal, stream: str = STREAM) -> int | None:
    with store.reading() as tx:
        bad = first_bad(journal, tx, stream)
    return bad.n if bad else None


def tampered(store: Store, *statements: str) -> None:
    """Change the journal as somebody with the whole database in hand could."""
    with store.transaction() as tx:
        if store.dialect == "postgresql":
            tx.exec(text("ALTER TABLE journal DISABLE TRIGGER ALL"))
        else:
            names = tx.exec(text("SELECT name FROM sqlite_master WHERE type = 'trigger'")).all()
            for (name,) in names:
                tx.exec(text(f"DROP TRIGGER {name}"))
        for statement in statements:
            assert tx.connection().exec_driver_sql(statement).rowcount > 0


def test_entries_are_numbered_from_one_in_each_stream(store: Store, journal: Journal) -> None:
    assert [append(store, journal, "a"), append(store, journal, "b")] == [1, 2]
    assert append(store, journal, "c", stream="oak/2026-09-14") == 1
    assert append(store, journal, "d") == 3


def test_an_entry_comes_back_as_it_was_written(store: Store, journal: Journal) -> None:
    filled(store, journal)
    with store.reading() as tx:
        first, second, third = journal.read(tx, STREAM)
    assert first.n == 1
    assert first.entry == Entry(STREAM, EIGHT, "round planned", ("calendar",), "service", {"due": "08:05"})
    assert second.entry.at == minutes(5)
    assert third.entry.personal == {"words": "2 no sound"}
    assert third.entry.body == {}


def test_many_entries_at_once_keep_their_order_in_each_stream(store: Store, journal: Journal) -> None:
    wanted = [
        Entry(stream, EIGHT, f"kind {n}") for n, stream in enumerate(["oak", "elm", "oak", "elm", "oak"])
    ]
    with store.transaction() as tx:
        assert journal.append_many(tx, wanted) == [1, 1, 2, 2, 3]
        assert journal.append_many(tx, []) == []
        assert [recorded.entry.kind for recorded in journal.read(tx, "oak")] == ["kind 0", "kind 2", "kind 4"]
    assert verdict(store, journal, "oak") is None
    assert verdict(store, journal, "elm") is None


def test_writers_at_the_same_time_leave_no_gap_and_a_sound_seal(opened: Any, journal: Journal) -> None:
    stores = [opened(wait=20), opened(wait=20)]

    def write(store: Store, streams: list[str]) -> None:
        for n in range(8):
            with store.transaction() as tx:
                journal.append_many(tx, [Entry(stream, minutes(n), "tick") for stream in streams])

    together(*[lambda n=n: write(stores[n % 2], [["elm", "oak"], ["oak", "elm"]][n % 2]) for n in range(4)])
    for stream in ("elm", "oak"):
        with stores[0].reading() as tx:
            assert [recorded.n for recorded in journal.read(tx, stream)] == list(range(1, 33))
        assert verdict(stores[0], journal, stream) is None


def test_what_was_undone_leaves_no_number_behind(store: Store, journal: Journal) -> None:
    def change_my_mind() -> None:
        with store.transaction() as tx:
            journal.append(tx, STREAM, EIGHT, "never happened")
            raise RuntimeError("changed my mind")

    with pytest.raises(RuntimeError, match="changed my mind"):
        change_my_mind()
    assert append(store, journal, "happened") == 1


def test_an_untouched_stream_is_sound_and_so_is_one_that_never_began(store: Store, journal: Journal) -> None:
    filled(store, journal)
    assert verdict(store, journal) is None
    assert verdict(store, journal, "never began") is None


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE journal SET kind = 'round asket' WHERE n = 2",
        "UPDATE journal SET body = '{\"n\":3}' WHERE n = 2",
        "UPDATE journal SET cause = '[\"round-2\"]' WHERE n = 2",
        "UPDATE journal SET actor = 'm' WHERE n = 2",
        "UPDATE journal SET at = '2026-09-14 12:05:00.000001' WHERE n = 2",
        "UPDATE journal SET seal = replace(seal, substr(seal, 1, 1), 'x') WHERE n = 2",
        "UPDATE journal SET n = 9 WHERE n = 2",
        "DELETE FROM journal WHERE n = 2",
        "UPDATE journal SET stream = 'elm/2026-09-15' WHERE n = 2",
    ],
)
def test_one_changed_byte_or_a_missing_entry_shows_where_it_is(
    store: Store, journal: Journal, change: str
) -> None:
    filled(store, journal)
    tampered(store, change)
    assert verdict(store, journal) == 2


def test_entries_that_changed_places_show(store: Store, journal: Journal) -> None:
    filled(store, journal)
    tampered(
        store,
        "UPDATE journal SET n = 99 WHERE n = 1",
        "UPDATE journal SET n = 1 WHERE n = 2",
        "UPDATE journal SET n = 2 WHERE n = 99",
    )
    assert verdict(store, journal) == 1


def test_an_end_that_was_cut_off_shows(store: Store, journal: Journal) -> None:
    filled(store, journal)
    tampered(store, "DELETE FROM journal WHERE n = 3")
    assert verdict(store, journal) == 3


def test_a_stream_that_was_cut_off_whole_shows(store: Store, journal: Journal) -> None:
    filled(store, journal)
    tampered(store, "DELETE FROM journal")
    assert verdict(store, journal) == 1


def test_an_end_that_does_not_know_its_last_entries_shows(store: Store, journal: Journal) -> None:
    filled(store, journal)
    tampered(store, "UPDATE journal_heads SET n = 2")
    assert verdict(store, journal) == 3
    tampered(store, "UPDATE journal_heads SET n = 3, seal = 'something else'")
    assert verdict(store, journal) == 3


def test_a_journal_written_under_another_key_is_not_sound(store: Store, journal: Journal) -> None:
    filled(store, journal)
    assert verdict(store, Journal(b"another key")) == 1


def test_personal_values_are_not_in_the_journal_itself(store: Store, journal: Journal) -> None:
    filled(store, journal)
    with store.reading() as tx:
        rows = [row.model_dump_json() for row in tx.exec(select(JournalRow))]
    assert len(rows) == 3
    assert not any("no sound" in row for row in rows)


def test_the_same_words_twice_do_not_look_the_same(store: Store, journal: Journal) -> None:
    append(store, journal, "reply read", personal={"words": "ok", "alias": "ok"})
    append(store, journal, "reply read", personal={"words": "ok"})
    with store.reading() as tx:
        digests = set(tx.exec(select(JournalValue.digest)))
    assert len(digests) == 3


def test_forgotten_words_are_gone_and_the_seal_still_holds(store: Store, journal: Journal) -> None:
    filled(store, journal)
    append(store, journal, "reply read", personal={"words": "keep this", "alias": "Kite"})
    with store.transaction() as tx:
        gone = tx.exec(select(JournalValue.digest).where(JournalValue.value != "keep this")).all()
        assert journal_module.forget(tx, gone) == 2
        assert journal_module.forget(tx, gone) == 0
    with store.reading() as tx:
        *_, third, fourth = journal.read(tx, STREAM)
    assert (third.entry.personal, third.forgotten) == ({}, ("words",))
    assert (fourth.entry.personal, fourth.forgotten) == ({"words": "keep this"}, ("alias",))
    assert verdict(store, journal) is None


def test_words_that_were_exchanged_show(store: Store, journal: Journal) -> None:
    filled(store, journal)
    tampered(store, "UPDATE journal_values SET value = '2 sound'")
    assert verdict(store, journal) == 3


def test_a_body_may_not_hide_something_where_the_digests_stand(store: Store, journal: Journal) -> None:
    with pytest.raises(ValueError, match="personal"), store.transaction() as tx:
        journal.append(tx, STREAM, EIGHT, "reply read", body={"personal": {}})


def test_the_head_moves_with_every_entry_and_only_then(store: Store, journal: Journal) -> None:
    heads = []
    for stream in (STREAM, "oak", STREAM):
        append(store, journal, "tick", stream=stream)
        with store.reading() as tx:
            heads.append(journal.head(tx))
            assert journal.head(tx) == heads[-1]
    assert [head.entries for head in heads] == [1, 2, 3]
    assert len({head.seal for head in heads}) == 3


def test_who_has_the_key_can_prove_a_stream_with_other_means(store: Store, journal: Journal) -> None:
    append(store, journal, "round asked", cause=["round-1"], actor="service", body={"b": 1, "a": "é"})
    append(store, journal, "reply read")
    first = (
        '["",{"actor":"service","at":"2026-09-14T12:00:00+00:00","body":{"a":"\\u00e9","b":1},'
        '"cause":["round-1"],"kind":"round asked","n":1,"stream":"elm/2026-09-14"}]'
    )
    seal = hmac.new(KEY, first.encode(), hashlib.sha256).hexdigest()
    second = (
        f'["{seal}",{{"actor":null,"at":"2026-09-14T12:00:00+00:00","body":{{}},'
        '"cause":[],"kind":"reply read","n":2,"stream":"elm/2026-09-14"}]'
    )
    with store.reading() as tx:
        seals = tx.exec(select(JournalRow.seal).order_by(col(JournalRow.n))).all()
    assert seals == [seal, hmac.new(KEY, second.encode(), hashlib.sha256).hexdigest()]


words = st.text(st.characters(exclude_characters="\x00", exclude_categories=["Cs"]))
json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | words,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(words, inner, max_size=3),
    max_leaves=8,
)
instants = st.datetimes(timezones=st.just(UTC))
bodies = st.dictionaries(words.filter(lambda name: name != "personal"), json_values, max_size=4)


@pytest.fixture(scope="module")
def store_in_memory() -> Iterator[Store]:
    store = Store("sqlite://")
    store.upgrade()
    yield store
    store.close()


STREAMS = (f"example-{n}" for n in itertools.count())


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(bodies, st.dictionaries(words, words, max_size=2), instants), max_size=4))
def test_whatever_is_written_comes_back_and_proves_sound(store_in_memory: Store, happened: list[Any]) -> None:
    journal, stream = Journal(KEY), next(STREAMS)
    made = [Entry(stream, at, "kind", ("cause",), None, body, personal) for body, personal, at in happened]
    with store_in_memory.transaction() as tx:
        journal.append_many(tx, made)
    with store_in_memory.reading() as tx:
        assert [recorded.entry for recorded in journal.read(tx, stream)] == made
        assert first_bad(journal, tx, stream) is None


@pytest.mark.parametrize("odd", ["a\x00b", "half \ud83d", "\u2028", "é" * 10, "<script>"])
def test_odd_characters_do_not_break_a_seal(store: Store, journal: Journal, odd: str) -> None:
    append(store, journal, "reply read", body={"said": [odd], odd: 1}, cause=[odd], personal={"words": odd})
    assert verdict(store, journal) is None


def test_an_entry_is_sealed_as_it_was_by_every_version_before(store: Store, journal: Journal) -> None:
    odd = {"Ä": "für \u2028 \U0001f33f", "n": [1, 2.5, None, True], "at": {"b": "", "a": "\x7f"}}
    body = {"id": "ch-1", "to": "l-teal", **odd}
    append(store, journal, "chase", cause=["rd-1", "ck-1"], body=body)
    append(store, journal, "reading", actor="l-teal", personal={"words": "2 no sound"})
    with store.reading() as tx:
        seals = tx.exec(select(JournalRow.seal).order_by(col(JournalRow.n))).all()
    assert seals == [
        "2fd5bcc39d0dd32f1fc1e8964d09788165cfdc3397641c3740b350d7cd270cb9",
        "6d9548a19ac6fa5b942c00d8a23ac5911fd0d558caadd9f3498ef67905d14532",
    ]
