"""What arrives is stored as it came, once, before anyone reads it."""

from typing import Any

import pytest
from sqlmodel import select
from store_rows import EIGHT, a_letter, minutes
from store_together import together

from service.store import inbox
from service.store.base import Store
from service.store.tables import InboxRow


def take(store: Store, row: InboxRow) -> tuple[InboxRow, bool]:
    with store.transaction() as tx:
        return inbox.take(tx, row)


def test_a_message_is_stored_word_for_word(store: Store) -> None:
    words = "1 ok, 2 no sound 👍\n> Kite — “quoted”\r\n\tsent from a phone"
    take(store, a_letter(text=words, body={"headers": ["Ünïcode"]}))
    with store.reading() as tx:
        row = tx.get(InboxRow, "in-1")
    assert (row.text, row.body, row.state) == (words, {"headers": ["Ünïcode"]}, "unread")


def test_a_repeated_message_is_answered_with_the_first(store: Store) -> None:
    first, new = take(store, a_letter("in-1", external_id="x", text="ok"))
    assert new
    again, new = take(store, a_letter("in-2", external_id="x", text="2 no sound"))
    assert not new
    assert (again.id, again.text) == (first.id, "ok")


def test_the_same_id_on_another_channel_is_another_message(store: Store) -> None:
    assert take(store, a_letter("in-1", external_id="x", channel="mail"))[1]
    assert take(store, a_letter("in-2", external_id="x", channel="webhook"))[1]


def test_a_message_that_arrives_twice_at_once_is_stored_once(opened: Any) -> None:
    stores = [opened(wait=20), opened(wait=20)]
    new: list[bool] = []
    jobs = [
        lambda n=n: new.append(take(stores[n % 2], a_letter(f"in-{n}", external_id="x"))[1]) for n in range(8)
    ]
    together(*jobs)
    assert sorted(new) == [False] * 7 + [True]
    with stores[0].reading() as tx:
        assert len(tx.exec(select(InboxRow)).all()) == 1


@pytest.mark.parametrize(
    ("arrived", "kept"),
    [("ok\x00 2 cable", "ok\ufffd 2 cable"), ("half a pair \ud83d.", "half a pair \ufffd."), ("", "")],
)
def test_what_no_database_takes_is_shown_as_a_replacement_and_the_rest_kept(
    store: Store, arrived: str, kept: str
) -> None:
    take(store, a_letter(text=arrived, address=arrived, body={arrived: [arrived, {"n": 1.5}]}))
    with store.reading() as tx:
        row = tx.get(InboxRow, "in-1")
    assert (row.text, row.address, row.body) == (kept, kept, {kept: [kept, {"n": 1.5}]})


def test_of_a_message_over_64_kb_the_beginning_is_kept_and_flagged(store: Store) -> None:
    row, _ = take(store, a_letter(text="no sound " + "x" * 1_000_000))
    assert row.text.startswith("no sound ")
    assert len(row.text) == 65_536
    assert row.truncated


def test_a_message_of_just_64_kb_is_kept_whole(store: Store) -> None:
    row, _ = take(store, a_letter(text="x" * 65_536))
    assert len(row.text) == 65_536
    assert not row.truncated


def test_no_character_is_cut_in_half(store: Store) -> None:
    row, _ = take(store, a_letter(text="x" + "é" * 40_000))
    assert row.text == "x" + "é" * 32_767
    assert row.truncated


def test_a_message_that_was_cut_before_stays_flagged(store: Store) -> None:
    assert take(store, a_letter(text="ok", truncated=True))[0].truncated


def test_unread_messages_come_oldest_first_until_they_are_marked(store: Store) -> None:
    take(store, a_letter("in-b"))
    take(store, a_letter("in-a"))
    take(store, a_letter("in-0", received_at=minutes(1)))
    with store.transaction() as tx:
        assert [row.id for row in inbox.unread(tx, 10)] == ["in-a", "in-b", "in-0"]
        assert [row.id for row in inbox.unread(tx, 1)] == ["in-a"]
        inbox.mark(tx, "in-a", "read", person="l-teal", round_id="round-1")
        inbox.mark(tx, "in-b", "aside")
        assert [row.id for row in inbox.unread(tx, 10)] == ["in-0"]
    with store.reading() as tx:
        row = tx.get(InboxRow, "in-a")
    assert (row.state, row.person, row.round_id, row.received_at) == ("read", "l-teal", "round-1", EIGHT)


def test_marking_again_does_not_forget_whom_it_concerned(store: Store) -> None:
    take(store, a_letter(person="l-teal"))
    with store.transaction() as tx:
        assert inbox.mark(tx, "in-1", "read").person == "l-teal"


def test_marking_a_message_that_is_not_there_is_an_error(store: Store) -> None:
    with pytest.raises(KeyError, match="in-9"), store.transaction() as tx:
        inbox.mark(tx, "in-9", "read")
