"""Rows written by statements that are compiled once lie in the database as SQLAlchemy would have written them."""

from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import insert
from sqlalchemy.dialects import sqlite
from sqlmodel.sql.sqltypes import UTCDateTime

from service.store.base import Store
from service.store.batches import change_later, put_later, put_rows
from service.store.journal import SPELLING, spelled, spelled_after
from service.store.json_text import JsonText
from service.store.prepared import sqlite_date, sqlite_instant
from service.store.tables import RoundRow, table_of

DUE = datetime(2026, 10, 5, 13, 5, tzinfo=UTC)
OFFSETS = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
INSTANTS = st.datetimes(datetime(1, 1, 3), datetime(9999, 12, 29), timezones=OFFSETS)
WORDS = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**40), 2**40)
    | st.floats(allow_nan=False, allow_infinity=False)
    | WORDS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(WORDS, inner, max_size=3),
    max_leaves=8,
)
ROWS = table_of(RoundRow)


def round_of(id: str, **more: Any) -> dict[str, Any]:
    return {
        "id": id, "school": "elm", "date": date(2026, 10, 5), "due": DUE, "checker": "t", "second": None,
        "state": "planned", "asked_at": None, "body": {"before": "Lunch \N{SNOWMAN}"}, **more,
    }  # fmt: skip


@given(INSTANTS)
def test_an_instant_is_spelled_as_sqlalchemy_spells_it(instant: datetime) -> None:
    theirs = UTCDateTime().dialect_impl(sqlite.dialect()).bind_processor(sqlite.dialect())  # type: ignore[no-untyped-call]
    assert theirs is not None
    assert sqlite_instant(instant) == theirs(instant)


@given(st.dates())
def test_a_date_is_spelled_as_sqlalchemy_spells_it(day: date) -> None:
    theirs = ROWS.c.date.type.dialect_impl(sqlite.dialect()).bind_processor(sqlite.dialect())  # type: ignore[no-untyped-call]
    assert theirs is not None
    assert sqlite_date(day) == theirs(day)


def test_an_instant_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="offset"):
        sqlite_instant(datetime(2026, 10, 5, 8, 5))


def test_rows_lie_in_the_database_as_if_sqlalchemy_had_written_them(store: Store) -> None:
    with store.transaction() as tx:
        tx.connection().execute(insert(ROWS), [round_of("theirs")])
        assert (
            put_rows(tx.connection(), ROWS, [round_of("ours"), round_of("b", asked_at=DUE, second="s")]) == 2
        )
    with store.reading() as tx:
        rows = {row["id"]: dict(row) for row in tx.connection().execute(ROWS.select()).mappings()}
        raw = tx.connection().exec_driver_sql("SELECT * FROM rounds ORDER BY id").all()
    assert rows["ours"] == {**rows["theirs"], "id": "ours"}
    assert (rows["b"]["asked_at"], rows["b"]["second"]) == (DUE, "s")
    assert [value for value in raw[1] if value != "ours"] == [value for value in raw[2] if value != "theirs"]


def test_a_row_whose_key_is_taken_stays_and_is_not_counted(store: Store) -> None:
    with store.transaction() as tx:
        assert put_rows(tx.connection(), ROWS, [round_of("a", checker="first")]) == 1
        assert put_rows(tx.connection(), ROWS, [round_of("a", checker="later"), round_of("b")]) == 1
    with store.reading() as tx:
        found = tx.connection().exec_driver_sql("SELECT checker FROM rounds WHERE id = 'a'").scalar_one()
    assert found == "first"


def test_what_is_not_given_is_as_the_table_says(store: Store) -> None:
    given = {name: value for name, value in round_of("a").items() if name != "state"}
    with store.transaction() as tx:
        put_rows(tx.connection(), ROWS, [given])
    with store.reading() as tx:
        assert tx.connection().exec_driver_sql("SELECT state FROM rounds").scalar_one() == "planned"


def test_a_change_to_a_row_that_is_held_back_goes_with_it(store: Store) -> None:
    with store.transaction() as tx:
        put_later(tx, ROWS, [round_of("a"), round_of("b")])
        change_later(tx, ROWS, ("a",), state="asked", asked_at=DUE)
        tx.flush()
        change_later(tx, ROWS, ("b",), state="dropped")
    with store.reading() as tx:
        found = tx.connection().execute(ROWS.select().order_by(ROWS.c.id)).mappings()
        assert [(row["id"], row["state"], row["asked_at"]) for row in found] == [
            ("a", "asked", DUE),
            ("b", "dropped", None),
        ]


ENTRIES = st.fixed_dictionaries(
    {
        "stream": WORDS,
        "n": st.integers(1, 10**9),
        "at": INSTANTS.map(lambda at: at.astimezone(UTC)),
        "kind": WORDS,
        "cause": st.lists(WORDS, max_size=3),
        "actor": st.none() | WORDS,
        "body": st.dictionaries(WORDS, JSON, max_size=4),
    }
)


@given(ENTRIES, WORDS)
def test_an_entry_that_is_spelled_in_parts_is_sealed_as_one_that_is_spelled_whole(
    entry: dict[str, Any], before: str
) -> None:
    parts = {**entry, **{name: JsonText(SPELLING.encode(entry[name])) for name in ("body", "cause")}}
    assert spelled_after(before, parts) == SPELLING.encode([before, spelled(entry)])
