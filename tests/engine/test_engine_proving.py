"""One byte changed anywhere in the record shows, and so does a table that no longer says what the journal says.

Each change is made by somebody who has the whole database in hand, triggers included, and undone again.
"""

import json
import random
from collections.abc import Iterator
from contextlib import contextmanager

import psycopg
import pytest
from sqlalchemy import text
from sqlmodel import Session

from service.engine import doors, proving, sealing
from service.engine.clock import SteppedClock
from service.engine.desk import Desk, Moment
from service.engine.proving import Verdict
from service.store.base import Store
from tests.engine.engine_lived import lived_desk, play_morning
from tests.engine.engine_morning import at
from tests.store.conftest import database_url, new_name, on_server, postgresql_template

__all__ = ["postgresql_template"]

SEALED = {
    "journal": ("stream", "n", "at", "kind", "cause", "actor", "body", "seal"),
    "journal_heads": ("stream", "n", "seal"),
    "journal_values": ("digest", "salt", "value", "stream", "about"),
    "seal_heads": ("n", "at", "entries", "body", "seal"),
}
BYTES = [(table, column, seed) for table, columns in SEALED.items() for column in columns for seed in range(3)]


@pytest.fixture(scope="module", params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def lived(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """A lived morning with two heads over it; no test leaves anything changed."""
    if request.param == "sqlite":
        url = f"sqlite:///{tmp_path_factory.mktemp('proving') / 'lived.db'}"
    else:
        name = new_name()
        on_server(f"CREATE DATABASE {name} TEMPLATE {request.getfixturevalue('postgresql_template')}")
        url = database_url(name).render_as_string(hide_password=False)
    store = Store(url)
    store.upgrade()
    desk = lived_desk(store, SteppedClock(at("07:00")))
    with desk.moment() as m:
        doors.revoke(m, "l-teal")
    sealing.head(desk)
    play_morning(desk)
    sealing.head(desk)
    yield desk
    store.close()
    if request.param == "postgresql":
        on_server(f"DROP DATABASE {name} WITH (FORCE)")


class _Undo(Exception):
    """Leaves the transaction without keeping it."""


@contextmanager
def tampering(desk: Desk) -> Iterator[Session]:
    """A transaction in which nothing guards the record; it is undone at the end."""
    try:
        with desk.store.transaction() as tx:
            if desk.store.dialect == "postgresql":
                tx.exec(text("SET LOCAL session_replication_role = replica"))
            else:
                tx.exec(text("PRAGMA defer_foreign_keys=ON"))
                for (name,) in tx.exec(text("SELECT name FROM sqlite_master WHERE type = 'trigger'")).all():
                    tx.exec(text(f"DROP TRIGGER {name}"))
            yield tx
            raise _Undo
    except _Undo:
        pass


def proved(desk: Desk, tx: Session) -> Verdict:
    return proving.prove_all(Moment(desk, tx, desk.clock.now()))


def changed(found: str, chance: random.Random) -> str:
    """The text with one character another."""
    places = [n for n, c in enumerate(found) if c.isalnum() and c.isascii()]
    place = chance.choice(places) if places else 0
    old = found[place] if found else ""
    kind = "123456789" if old.isdigit() else "abcdefghijk"
    new = chance.choice([c for c in kind if c != old])
    return found[:place] + new + found[place + 1 :]


def change_one_byte(tx: Session, dialect: str, table: str, column: str, seed: int) -> str:
    """Change one character of one row's column, by chance; says in which stream or table."""
    chance = random.Random(f"{table}.{column}/{seed}")
    key = {"journal_heads": "stream", "journal_values": "digest", "seal_heads": "n"}.get(table, "stream, n")
    rows = tx.exec(text(f"SELECT {key} FROM {table} WHERE {column} IS NOT NULL ORDER BY {key}")).all()
    row = dict(zip(key.split(", "), chance.choice(rows), strict=True))
    where = " AND ".join(f"{name} = :k_{name}" for name in row)
    keys = {f"k_{name}": value for name, value in row.items()}
    cast = {"body": "json", "cause": "json", "at": "timestamptz", "n": "integer", "entries": "integer"}
    held = tx.exec(text(f"SELECT CAST({column} AS TEXT) FROM {table} WHERE {where}"), params=keys).scalar_one()
    kind = cast.get(column, "text") if dialect == "postgresql" else "INTEGER" if column in ("n", "entries") else "TEXT"
    for _ in range(50):
        try:
            with tx.begin_nested():
                # Single digits are mostly taken as numbers of other entries.
                value = str(int(held) + 1000) if (table, column) == ("journal", "n") else changed(held, chance)
                statement = f"UPDATE {table} SET {column} = CAST(:new AS {kind}) WHERE {where}"
                tx.exec(text(statement), params={**keys, "new": value})
                return str(row.get("stream", table))
        except Exception as error:
            if not isinstance(getattr(error, "orig", None), psycopg.Error) and "UNIQUE" not in str(error):
                raise
    raise AssertionError("no change that the database takes was found")


def test_what_was_lived_is_sound(lived: Desk) -> None:
    with lived.glance() as m:
        verdict = proving.prove_all(m)
    assert verdict.is_sound
    assert verdict.beyond == 0
    assert verdict.entries > 100


@pytest.mark.parametrize(("table", "column", "seed"), BYTES)
def test_one_byte_changed_anywhere_shows_and_where(lived: Desk, table: str, column: str, seed: int) -> None:
    with tampering(lived) as tx:
        stream = change_one_byte(tx, lived.store.dialect, table, column, seed)
        verdict = proved(lived, tx)
    assert not verdict.is_sound
    named = {bad.stream for bad in verdict.bad} | {s for s, _ in verdict.wrong} | {d.row for _, d in verdict.wrong}
    if table in ("journal", "journal_heads") and column != "stream":
        assert stream in named
    if table == "seal_heads":
        assert "heads" in named


@pytest.mark.parametrize(
    "change",
    [
        "DELETE FROM journal WHERE n = 2 AND stream LIKE 'hollow-road/%'",
        "INSERT INTO journal SELECT stream, 999, at, kind, cause, actor, body, seal FROM journal "
        "WHERE n = 2 AND stream LIKE 'hollow-road/%'",
        "UPDATE journal SET n = n + 1000 WHERE n IN (2, 3)",
        "DELETE FROM journal_heads WHERE stream LIKE 'hollow-road/%'",
        "DELETE FROM journal_values",
        "DELETE FROM seal_heads WHERE n = 1",
    ],
)
def test_a_row_taken_out_put_in_or_moved_shows(lived: Desk, change: str) -> None:
    with tampering(lived) as tx:
        assert tx.exec(text(change)).rowcount > 0
        assert not proved(lived, tx).is_sound


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ("UPDATE checks SET result = 'away' WHERE result = 'fault'", "result is 'away', the journal says 'fault'"),
        ("UPDATE checks SET faults = '[]' WHERE result = 'fault'", "faults is []"),
        ("UPDATE checks SET \"by\" = 'v-holt' WHERE result IS NOT NULL", "by is 'v-holt'"),
        ("UPDATE checks SET state = 'closed' WHERE state = 'asked'", "state is 'closed'"),
        ("UPDATE checks SET student = 's-x' WHERE student = 's-110' AND result IS NOT NULL", "student is 's-x'"),
        ("DELETE FROM checks WHERE result = 'fault'", "not in its table"),
        ("UPDATE rounds SET state = 'dropped' WHERE state = 'asked'", "state is 'dropped'"),
        ("UPDATE rounds SET checker = 'v-holt'", "checker is 'v-holt'"),
        ("UPDATE chases SET severity = 'watch' WHERE severity = 'emergency'", "severity is 'watch'"),
        ("UPDATE chases SET ended_at = NULL WHERE ended_at IS NOT NULL", "ended_at is nothing"),
        ("DELETE FROM chases WHERE why = 'fault'", "not in its table"),
        ("UPDATE outbox SET person = 'v-holt' WHERE state = 'accepted'", "person is 'v-holt'"),
        ("UPDATE outbox SET state = 'dropped' WHERE state = 'accepted'", "state is 'dropped'"),
        ("DELETE FROM outbox WHERE purpose = 'alert'", "not in its table"),
        ("UPDATE inbox SET text = '1 ok' WHERE text = '1 battery, 3 ok'", "its words are not those that were read"),
        ("UPDATE statements SET body = '{}'", "said of statement 1"),
        ("DELETE FROM statements", "statements are kept, the journal says"),
        ("UPDATE notices SET withdrawn_at = given_at", "withdrawn_at is"),
        ("DELETE FROM notices", "not in its table"),
        ("UPDATE addressees SET epoch = 0", "epoch is 0"),
        ("UPDATE config_versions SET digest = 'x'", "digest is 'x'"),
    ],
)
def test_a_table_that_says_something_else_is_named(lived: Desk, change: str, told: str) -> None:
    with tampering(lived) as tx:
        assert tx.exec(text(change)).rowcount > 0, "nothing to change"
        verdict = proved(lived, tx)
    assert not verdict.bad
    assert any(told in str(difference) for _, difference in verdict.wrong), [str(d) for _, d in verdict.wrong]


@pytest.mark.parametrize("table", ["outbox", "chases", "rounds", "inbox"])
def test_a_row_that_no_entry_tells_of_is_named(lived: Desk, table: str) -> None:
    with tampering(lived) as tx:
        held = tx.exec(text(f"SELECT * FROM {table} ORDER BY id LIMIT 1")).mappings().one()
        row = {**held, "id": "zz-put-in", "key": "zz", "external_id": "zz", "state": "read", "check_id": None}
        row = {name: json.dumps(v) if isinstance(v, dict | list) else v for name, v in row.items() if name in held}
        places = ", ".join(f":{name}" for name in row)
        names = ", ".join(f'"{name}"' for name in row)
        tx.exec(text(f"INSERT INTO {table} ({names}) VALUES ({places})"), params=row)
        verdict = proved(lived, tx)
    assert "zz-put-in: it is in its table and not in the journal" in [str(d) for _, d in verdict.wrong]


def test_one_day_is_proved_by_itself(lived: Desk) -> None:
    day = at("08:00").date()
    with tampering(lived) as tx:
        tx.exec(text("UPDATE checks SET result = 'working' WHERE result = 'fault'"))
        m = Moment(lived, tx, lived.clock.now())
        assert not proving.prove_some(m, None, day).is_sound
        assert proving.prove_some(m, None, day.replace(year=2025)).is_sound
