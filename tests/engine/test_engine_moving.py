"""Moving house, from SQLite to PostgreSQL and back: nothing is lost on the way, and nobody lives in two houses."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from service.engine import held, moving, postman, releasing, running, sealing
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.moving import CannotMove, move
from service.engine.proving import prove_all
from service.store import copies, identity, marks, statements
from service.store.base import AlreadyServing, NotEmpty, Store, StoreError, Unfinished, serving_lock
from service.store.errors import DatabaseConflict, OlderDatabase
from service.store.tables import JournalRow, Row, StatementRow
from service.store.versions import VERSIONS
from tests.engine.engine_lived import lived_desk, play_morning, play_rest
from tests.engine.engine_morning import Receivers, at, broken_streams, messages, results, told
from tests.store.conftest import database_url, new_name, on_server

pytestmark = pytest.mark.postgres


@pytest.fixture(scope="module")
def lived_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A morning that has been lived, with all sorts of things under way, in an SQLite file."""
    path = tmp_path_factory.mktemp("lived") / "lived.db"
    live_a_morning(f"sqlite:///{path}")
    return path


@pytest.fixture(scope="module")
def lived_database(postgresql_template: str) -> Iterator[str]:
    """The same in a PostgreSQL database; its name."""
    name = new_name()
    on_server(f"CREATE DATABASE {name} TEMPLATE {postgresql_template}")
    live_a_morning(database_url(name).render_as_string(hide_password=False))
    yield name
    on_server(f"DROP DATABASE {name} WITH (FORCE)")


def live_a_morning(url: str) -> None:
    store = Store(url)
    store.upgrade()
    desk = lived_desk(store, SteppedClock(at("07:00")))
    play_morning(desk)
    sealing.head(desk)
    store.close()


@pytest.fixture(params=["sqlite", "postgresql"])
def kind(request: pytest.FixtureRequest) -> str:
    """What the house that is moved is built of; the other is of the other kind."""
    found: str = request.param
    return found


@pytest.fixture
def lived(kind: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Desk]:
    """The house that is moved."""
    if kind == "sqlite":
        copies.copy(request.getfixturevalue("lived_file"), tmp_path / "lived.db")
        yield from _house(f"sqlite:///{tmp_path / 'lived.db'}")
    else:
        with _created(request.getfixturevalue("lived_database")) as url:
            yield from _house(url)


def _house(url: str) -> Iterator[Desk]:
    store = Store(url)
    desk = lived_desk(store, SteppedClock(at("09:11")))
    yield desk
    store.close()


@pytest.fixture
def empty(kind: str, tmp_path: Path) -> Iterator[Store]:
    """An empty database of the other kind."""
    if kind == "postgresql":
        store = Store(f"sqlite:///{tmp_path / 'moved.db'}")
        yield store
        store.close()
        return
    with _created("template0") as url:
        store = Store(url)
        yield store
        store.close()


@contextmanager
def _created(template: str) -> Iterator[str]:
    name = new_name()
    on_server(f"CREATE DATABASE {name} TEMPLATE {template}")
    try:
        yield database_url(name).render_as_string(hide_password=False)
    finally:
        on_server(f"DROP DATABASE {name} WITH (FORCE)")


def silent(*_: object) -> None:
    """Tells nobody how far it is."""


def everything(store: Store) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table."""
    with store.reading() as tx:
        return {
            table.name: [tuple(row) for row in tx.connection().execute(table.select().order_by(*table.primary_key))]
            for table in Row.metadata.sorted_tables
        }


def told_to_the_journal(store: Store) -> list[dict[str, Any]]:
    """Every entry without what chance decides, and without what tells of the move itself."""
    with store.reading() as tx:
        table = Row.metadata.tables[str(JournalRow.__tablename__)]
        rows = tx.connection().execute(table.select().order_by(table.c.stream, table.c.n)).mappings()
        entries = [{**row, "seal": "", "body": {**row["body"], "personal": ""}} for row in rows]
    return [entry for entry in entries if entry["stream"] != held.STREAM]


def at_home_in(store: Store, desk: Desk) -> Desk:
    return lived_desk(store, SteppedClock(desk.clock.now()))


def test_the_rest_of_the_day_is_lived_in_the_new_house_as_it_would_have_been_in_the_old(
    lived: Desk, empty: Store
) -> None:
    unmoved = lived_desk(Store("sqlite://"), SteppedClock(at("07:00")))
    unmoved.store.upgrade()
    play_morning(unmoved)
    in_the_old = play_rest(unmoved)

    move(lived, empty, "c-reed", silent)
    moved = at_home_in(empty, lived)
    in_the_new = play_rest(moved)

    assert in_the_new.arrived == in_the_old.arrived
    assert results(empty) == results(unmoved.store)
    assert told(empty) == told(unmoved.store)
    assert [m.model_dump() for m in messages(empty)] == [m.model_dump() for m in messages(unmoved.store)]
    assert told_to_the_journal(empty) == told_to_the_journal(unmoved.store)
    assert broken_streams(moved) == []


def test_both_prove_alike_and_a_head_that_was_kept_before_still_stands(lived: Desk, empty: Store) -> None:
    kept = sealing.head(lived)
    said: list[tuple[str, int, int]] = []
    moved = move(lived, empty, "c-reed", lambda *of: said.append(of))

    with lived.glance() as old, at_home_in(empty, lived).glance() as new:
        was, now = prove_all(old, str(kept)), prove_all(new, str(kept))
    assert was.is_sound
    assert was == now == moved.verdict
    assert moved.rows == sum(total for table, done, total in said if done == total and table != "proving")
    before, after = everything(lived.store), everything(empty)
    own = ("held/moved", held.INSTANCE)
    for house in (before, after):
        house["service_marks"] = [mark for mark in house["service_marks"] if mark[0] not in own]
    assert before == after


def test_the_new_house_guards_its_record_and_goes_on_counting(lived: Desk, empty: Store) -> None:
    move(lived, empty, "c-reed", silent)
    for statement in ("UPDATE journal SET kind = 'x'", "DELETE FROM journal", "DELETE FROM seal_heads"):
        with pytest.raises(StoreError, match="can only be added to"), empty.transaction() as tx:
            tx.connection().execute(text(statement))
    with empty.transaction() as tx:
        last = tx.connection().execute(text("SELECT max(id) FROM statements")).scalar_one()
        check = tx.connection().execute(text("SELECT min(id) FROM checks")).scalar_one()
        row = StatementRow(check_id=check, at=lived.clock.now(), person="l-teal")
        statements.add(tx, row)
        assert [said.id for said in statements.as_written(tx, check)][-1] == last + 1
    with pytest.raises(DatabaseConflict), empty.transaction() as tx:
        statements.add(tx, StatementRow(check_id="none", at=lived.clock.now(), person="l-teal"))


def test_nobody_asks_or_sends_from_the_old_house_until_somebody_says_so(lived: Desk, empty: Store) -> None:
    move(lived, empty, "c-reed", silent)
    later = at("12:00")
    assert running.run_due(lived, later) == 0
    assert postman.claim(lived, later) == []
    with lived.glance() as m:
        state = held.held(m.tx)
        assert state is not None
        assert state.moved_to == empty.place
        assert empty.place in held.say(state)
    with at_home_in(empty, lived).glance() as m:
        assert held.held(m.tx) is None
    assert held.look(at_home_in(empty, lived)) is None

    assert isinstance(lived.clock, SteppedClock)
    lived.clock.move_to(later)
    with lived.glance() as m:
        unknown = held.held_now(m)
        assert unknown is not None
        assert unknown.until == later
    assert releasing.release(lived, send=False, by="c-reed") is not None
    with lived.glance() as m:
        assert held.held(m.tx) is None


class Broken(Exception):
    """Something that happens in the middle of a move."""


@pytest.mark.parametrize("moment", ["first rows", "proving"])
def test_a_move_that_is_broken_off_leaves_the_old_house_as_it_was_and_the_new_one_shut(
    lived: Desk, empty: Store, moment: str
) -> None:
    before = everything(lived.store)

    def breaking(table: str, *_: object) -> None:
        if table == moment or moment == "first rows":
            raise Broken

    with pytest.raises(Broken):
        move(lived, empty, "c-reed", breaking)
    assert everything(lived.store) == before
    for use in (empty.upgrade, empty.check_version):
        with pytest.raises(Unfinished, match="bellcheck move"):
            use()

    move(lived, empty, "c-reed", silent)
    empty.check_version()
    assert broken_streams(at_home_in(empty, lived)) == []


def test_a_crash_between_shutting_the_old_and_opening_the_new_house_leaves_none_open(
    lived: Desk, empty: Store
) -> None:
    def crash(moment: str) -> None:
        if moment == "after commit":
            raise Broken

    lived.store.on_commit = crash
    with pytest.raises(Broken):
        move(lived, empty, "c-reed", silent)
    lived.store.on_commit = None
    assert running.run_due(lived, at("12:00")) == 0
    with pytest.raises(Unfinished):
        empty.check_version()

    move(lived, empty, "c-reed", silent)
    assert broken_streams(at_home_in(empty, lived)) == []
    with pytest.raises(CannotMove, match="its data was moved to"):
        move(lived, empty, "c-reed", silent)


def test_a_house_that_is_lived_in_is_not_moved_into(lived: Desk, empty: Store) -> None:
    empty.upgrade()
    with empty.transaction() as tx:
        marks.set(tx, held.HEARTBEAT, at("07:00"), {})
    before = everything(empty)
    with pytest.raises(NotEmpty, match="service_marks"):
        move(lived, empty, "c-reed", silent)
    assert everything(empty) == before
    with lived.glance() as m:
        assert held.held(m.tx) is None


def test_a_table_of_somebody_else_is_left_alone(lived: Desk, empty: Store) -> None:
    with empty.transaction() as tx:
        tx.connection().execute(text("CREATE TABLE theirs (n INTEGER)"))
    with pytest.raises(NotEmpty, match="theirs"):
        move(lived, empty, "c-reed", silent)


def test_nothing_is_moved_while_somebody_serves_from_it(lived: Desk, empty: Store) -> None:
    other = Store(lived.store.url.render_as_string(hide_password=False))
    with serving_lock(other), other.reading() as tx:
        tx.connection()
        with pytest.raises((AlreadyServing, CannotMove)):
            move(lived, empty, "c-reed", silent)
    other.close()


def test_an_instance_that_was_overlooked_cannot_write_while_the_data_is_moved(
    lived: Desk, empty: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    refused: list[str] = []
    other = Store(lived.store.url.render_as_string(hide_password=False), wait=0.2)
    monkeypatch.setattr(moving.moving, "sessions_of_others", lambda _: 0)

    def write(table: str, *_: object) -> None:
        if not refused:
            with pytest.raises(StoreError, match="held by another") as found, other.transaction() as tx:
                marks.set(tx, "gone/l-teal/chat", None, {})
            refused.append(f"{table}: {found.value}")

    move(lived, empty, "c-reed", write)
    other.close()
    assert refused


def test_tables_of_an_earlier_version_are_not_moved(lived: Desk, empty: Store) -> None:
    with lived.store.transaction() as tx:
        tx.connection().execute(text(f"UPDATE {VERSIONS} SET version_num = '0001'"))
    with pytest.raises(OlderDatabase):
        move(lived, empty, "c-reed", silent)


def test_there_and_back_again(lived: Desk, empty: Store, tmp_path: Path) -> None:
    move(lived, empty, "c-reed", silent)
    empty.close()
    back = Store(f"sqlite:///{tmp_path / 'back.db'}")
    moved = at_home_in(empty, lived)
    move(moved, back, "c-reed", silent)
    again = at_home_in(back, lived)
    assert broken_streams(again) == []
    assert identity.counted_beside(back) is not None
    receivers: Receivers = play_rest(again)
    assert set(receivers.arrived.values()) == {1}
    back.close()
