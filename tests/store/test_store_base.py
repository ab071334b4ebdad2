"""What a transaction promises, on both databases."""

from datetime import UTC, datetime, timedelta, timezone
from threading import Event
from typing import Any

import pytest
from sqlmodel import col, select
from store_rows import EIGHT, a_message, a_round, minutes
from store_together import together

from service.store import base, marks, tray
from service.store.base import DatabaseBusy, DatabaseConflict, DatabaseReadOnly, Store, StoreError
from service.store.tables import OutboxChase, RoundRow, ServiceMark


def test_what_a_transaction_wrote_is_there_afterwards_and_its_rows_stay_readable(store: Store) -> None:
    with store.transaction() as tx:
        row = a_round(body={"students": ["Kite"]})
        tx.add(row)
    assert row.id == "round-1"
    with store.reading() as tx:
        assert tx.get(RoundRow, "round-1").body == {"students": ["Kite"]}


def write_and_change_my_mind(store: Store) -> None:
    with store.transaction() as tx:
        tx.add(a_round())
        tx.flush()
        raise RuntimeError("changed my mind")


def test_an_exception_undoes_the_whole_transaction(store: Store) -> None:
    with pytest.raises(RuntimeError, match="changed my mind"):
        write_and_change_my_mind(store)
    with store.reading() as tx:
        assert tx.get(RoundRow, "round-1") is None


def test_an_instant_comes_back_in_utc_whatever_its_zone_was(store: Store) -> None:
    eastern = datetime(2026, 9, 14, 8, 0, 0, 123456, tzinfo=timezone(timedelta(hours=-4)))
    with store.transaction() as tx:
        tx.add(a_round(due=eastern))
    with store.reading() as tx:
        due = tx.get(RoundRow, "round-1").due
    assert due == datetime(2026, 9, 14, 12, 0, 0, 123456, tzinfo=UTC)
    assert due.utcoffset() == timedelta(0)


def test_an_instant_without_a_zone_is_refused(store: Store) -> None:
    with pytest.raises(Exception, match="timezone"), store.transaction() as tx:
        tx.add(a_round(due=datetime(2026, 9, 14, 8, 0)))


def test_ids_are_ordered_by_their_bytes_on_both_databases(store: Store) -> None:
    with store.transaction() as tx:
        tx.add_all([a_round(id) for id in ("é", "b", "B", "_", "a", "Z", "a-1", "a1")])
    with store.reading() as tx:
        ids = list(tx.exec(select(RoundRow.id).order_by(col(RoundRow.id))))
    assert ids == ["B", "Z", "_", "a", "a-1", "a1", "b", "é"]


def test_reading_sees_one_unchanging_picture(store: Store) -> None:
    with store.reading() as tx:
        assert tx.exec(select(RoundRow.id)).all() == []
        with store.transaction() as other:
            other.add(a_round())
        assert tx.exec(select(RoundRow.id)).all() == []
    with store.reading() as tx:
        assert tx.exec(select(RoundRow.id)).all() == ["round-1"]


def test_writing_while_reading_is_refused(store: Store) -> None:
    with pytest.raises(DatabaseReadOnly), store.reading() as tx:
        marks.set(tx, "heartbeat", EIGHT, {})
    with store.transaction() as tx:
        marks.set(tx, "heartbeat", EIGHT, {})


def test_the_hook_hears_of_each_commit_before_and_after_it(store: Store) -> None:
    heard: list[tuple[str, bool]] = []

    def listen(moment: str) -> None:
        with store.reading() as tx:
            heard.append((moment, tx.get(RoundRow, "round-1") is not None))

    store.on_commit = listen
    with store.transaction() as tx:
        tx.add(a_round())
    assert heard == [("before commit", False), ("after commit", True)]


def test_a_process_that_ends_before_the_commit_leaves_nothing(store: Store) -> None:
    def end(moment: str) -> None:
        if moment == "before commit":
            raise SystemExit(9)

    store.on_commit = end
    with pytest.raises(SystemExit), store.transaction() as tx:
        tx.add(a_round())
    with store.reading() as tx:
        assert tx.get(RoundRow, "round-1") is None


def test_the_hook_is_not_called_for_what_was_undone(store: Store) -> None:
    heard: list[str] = []
    store.on_commit = heard.append
    with pytest.raises(RuntimeError, match="changed my mind"):
        write_and_change_my_mind(store)
    assert heard == []


def test_rows_that_refer_to_each_other_may_be_written_in_any_order(store: Store) -> None:
    with store.transaction() as tx:
        tx.add(OutboxChase(outbox_id="msg-1", chase_id="chase-1"))
        tx.flush()
        tx.add(a_message())


def test_a_row_that_refers_to_nothing_is_refused_at_the_commit(store: Store) -> None:
    with pytest.raises(DatabaseConflict), store.transaction() as tx:
        tx.add(OutboxChase(outbox_id="msg-1", chase_id="chase-1"))


def test_the_server_has_a_clock_and_a_file_has_none(store: Store) -> None:
    with store.reading() as tx:
        now = store.database_now(tx)
        later = store.database_now(tx)
    if store.dialect == "sqlite":
        assert now is None
    else:
        assert now.utcoffset() == timedelta(0)
        assert now < later


def test_many_writers_of_one_person_follow_each_other_and_lose_nothing(opened: Any) -> None:
    stores = [opened(wait=20), opened(wait=20)]

    def raise_epoch(store: Store) -> None:
        for _ in range(10):
            with store.transaction() as tx:
                tray.lock_person(tx, "l-teal").epoch += 1

    together(*[lambda store=store: raise_epoch(store) for store in stores * 3])
    with stores[0].transaction() as tx:
        assert tray.lock_person(tx, "l-teal").epoch == 60


def test_a_writer_who_is_kept_waiting_too_long_says_that_the_database_is_busy(opened: Any) -> None:
    with opened().transaction() as tx:
        tray.lock_person(tx, "l-teal")
        with pytest.raises(DatabaseBusy, match="held by another process"), opened(0.2).transaction() as other:
            tray.lock_person(other, "l-teal")


def test_a_writer_waits_for_the_one_before_it(opened: Any) -> None:
    first, second, begun = opened(), opened(), Event()

    def hold() -> None:
        with first.transaction() as tx:
            tray.lock_person(tx, "l-teal").epoch = 1
            tx.flush()
            begun.set()
            Event().wait(0.3)

    def follow() -> None:
        begun.wait(5)
        with second.transaction() as tx:
            person = tray.lock_person(tx, "l-teal")
            assert person.epoch == 1
            person.epoch = 2

    together(hold, follow)
    with first.reading() as tx:
        assert tray.waiting(tx, "l-teal") == []
    with first.transaction() as tx:
        assert tray.lock_person(tx, "l-teal").epoch == 2


class TestOnSqlite:
    @pytest.fixture
    def url(self, tmp_path: Any) -> str:
        address = f"sqlite:///{tmp_path / 'bellcheck.db'}"
        store = Store(address)
        store.upgrade()
        store.close()
        return address

    def test_who_may_write_is_the_one_writer_from_the_first_moment(self, opened: Any) -> None:
        with opened().transaction() as tx:
            assert marks.get(tx, "heartbeat") is None
            with pytest.raises(DatabaseBusy), opened(wait=0.1).transaction():
                pass
            marks.set(tx, "heartbeat", EIGHT, {})
        with opened().reading() as tx:
            assert marks.get(tx, "heartbeat").at == EIGHT

    def test_readers_are_not_kept_waiting_by_a_writer(self, opened: Any) -> None:
        with opened().transaction() as tx:
            tx.add(a_round())
            tx.flush()
            with opened(wait=0.1).reading() as other:
                assert other.exec(select(RoundRow.id)).all() == []

    def test_an_acknowledged_commit_survives_a_power_cut(self, store: Store) -> None:
        with store.transaction() as tx:
            connection = tx.connection()
            assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2
            assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
            assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1

    def test_threads_of_one_process_take_turns(self, opened: Any) -> None:
        store = opened(wait=0.1)
        with store.transaction(), pytest.raises(DatabaseBusy), store.transaction():
            pass
        with store.transaction() as tx:
            marks.set(tx, "heartbeat", minutes(1), {})


class TestInMemory:
    def test_a_store_in_memory_is_one_database_for_all_threads(self) -> None:
        store = Store("sqlite://")
        store.upgrade()
        store.check_version()

        def count() -> None:
            with store.transaction() as tx:
                mark = marks.get(tx, "count") or ServiceMark(key="count", body={"n": 0})
                marks.set(tx, "count", None, {"n": mark.body["n"] + 1})

        together(*[count] * 8)
        with store.reading() as tx:
            assert marks.get(tx, "count").body == {"n": 8}
        store.close()

    def test_two_stores_in_memory_know_nothing_of_each_other(self) -> None:
        one, other = Store("sqlite:///:memory:"), Store("sqlite://")
        one.upgrade()
        other.upgrade()
        with one.transaction() as tx:
            tx.add(a_round())
        with other.reading() as tx:
            assert tx.exec(select(RoundRow.id)).all() == []
        one.close()
        other.close()


@pytest.mark.postgres
def test_a_transaction_that_stands_still_keeps_its_rows_from_others_for_a_while_only(
    postgresql_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(base, "IDLE_AT_MOST_MS", 100)
    frozen, other = Store(postgresql_url), Store(postgresql_url)
    with pytest.raises(StoreError):
        hold_a_row_while_another_wants_it(frozen, other)
    frozen.close()
    other.close()


def hold_a_row_while_another_wants_it(frozen: Store, other: Store) -> None:
    with frozen.transaction() as theirs:
        tray.lock_person(theirs, "p")
        with other.transaction() as ours:
            assert tray.lock_person(ours, "p").person == "p"
        tray.lock_person(theirs, "p")
