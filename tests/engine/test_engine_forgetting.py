"""Forgetting: nothing that identifies a child is left in the database, what happened stays, and the record proves."""

import json
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import text

from service.engine import commands, holds, leaving, proving, retention
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.forgetting import Refused
from service.engine.record import record
from service.store.base import Store
from tests.engine.engine_lived import documents, lived_desk
from tests.engine.engine_morning import broken_streams, results
from tests.engine.lived_houses import OVER, lived_database, lived_file, lived_url
from tests.store.conftest import postgresql_template

__all__ = ["lived_database", "lived_file", "lived_url", "postgresql_template"]

CHILD, ALIAS = "s-110", "Wren"


@pytest.fixture
def lived(lived_url: str) -> Iterator[Desk]:
    """A day and a morning are over; the child's own words and a notice about it are among what was said."""
    store = Store(lived_url)
    yield lived_desk(store, SteppedClock(OVER))
    store.close()


def leave(desk: Desk) -> None:
    """The child and its guardian are taken out of the folder."""
    left = json.loads(json.dumps(documents()))
    guardians = left["students"].pop(CHILD)["guardians"]
    for guardian in guardians:
        if not any(guardian in s.get("guardians", ()) for s in left["students"].values()):
            left["people"].pop(guardian)
    commands.configure(desk, left, "c-reed")


def forget(desk: Desk, *, really: bool = True) -> dict[str, int]:
    return dict(leaving.forget(desk, CHILD, "a-vane", really))


def everything(store: Store) -> str:
    """All that the database holds, as whoever has its file or a dump of it would read it."""
    store.compact()
    if store.dialect == "sqlite":
        path = Path(store.url.database or "")
        files = [path, *path.parent.glob(f"{path.name}-*")]
        return b"".join(f.read_bytes() for f in files).decode("latin-1")
    held = []
    with psycopg.connect(store.url.set(drivername="postgresql").render_as_string(hide_password=False)) as there:
        tables = there.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'").fetchall()
        for (table,) in tables:
            with there.cursor().copy(f"COPY {table} TO STDOUT") as copy:
                held += [bytes(part).decode() for part in copy]
    return "".join(held)


def test_of_a_student_who_left_no_name_and_no_words_are_left_anywhere(lived: Desk) -> None:
    leave(lived)
    before = results(lived.store)
    assert ALIAS in everything(lived.store)
    counted = forget(lived, really=False)
    assert ALIAS in everything(lived.store)

    done = forget(lived)

    left = everything(lived.store)
    for name in (ALIAS, "Birdie", "away Wren"):
        assert name not in left, name
    assert done == counted
    assert done["checks"] > 0
    assert done["sent"] > 0
    assert results(lived.store) == before
    assert broken_streams(lived) == []


def test_others_keep_their_words_and_the_record_its_counts(lived: Desk) -> None:
    leave(lived)
    with lived.glance() as m:
        before = [(line.check, line.result) for line in record(m, date(2026, 10, 5), date(2026, 10, 6))]
    forget(lived)
    with lived.glance() as m:
        after = record(m, date(2026, 10, 5), date(2026, 10, 6))
    assert [(line.check, line.result) for line in after] == before
    own = [line for line in after if line.student == CHILD]
    assert {(line.alias, line.room) for line in own} == {("", "")}
    assert all(line.alias and line.room for line in after if line.student != CHILD)
    assert any("ok" in a.words for line in after if line.student != CHILD for a in line.answers)


def test_forgetting_twice_finds_nothing_more(lived: Desk) -> None:
    leave(lived)
    forget(lived)
    assert sum(forget(lived).values()) == 0


def test_what_was_broken_off_is_finished_by_the_next_run(lived: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    leave(lived)
    monkeypatch.setattr(leaving, "_notices", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        forget(lived)
    assert broken_streams(lived) == []
    monkeypatch.undo()
    forget(lived)
    assert ALIAS not in everything(lived.store)
    assert broken_streams(lived) == []


def test_nothing_is_forgotten_of_who_is_in_the_folder_or_held_or_unknown(lived: Desk) -> None:
    with pytest.raises(Refused, match="is in the folder"):
        forget(lived)
    leave(lived)
    for why in (holds.LEGAL, holds.INSPECTION):
        holds.hold(lived, CHILD, why, "letter of 2 October", "c-reed")
        with pytest.raises(Refused, match=why):
            forget(lived)
        assert broken_streams(lived) == []
        assert holds.release(lived, CHILD, why, "c-reed")
        assert not holds.release(lived, CHILD, why, "c-reed")
    with pytest.raises(Refused, match="was ever here"):
        leaving.forget(lived, "s-nobody", "c-reed", False)
    forget(lived)
    assert "letter of 2 October" not in everything(lived.store)


def test_what_is_old_enough_is_forgotten_and_what_is_held_stays(lived: Desk) -> None:
    held = "s-102"
    holds.hold(lived, held, holds.LEGAL, "a case", "c-reed")
    counted = retention.forget(lived, date(2026, 10, 6), "a-vane", False)
    done = retention.forget(lived, date(2026, 10, 6), "a-vane", True)
    assert done == counted
    with lived.glance() as m:
        lines = record(m, date(2026, 10, 5), date(2026, 10, 6))
        assert proving.prove_all(m).is_sound
    named = {(line.date, line.student) for line in lines if line.alias}
    assert named == {(line.date, line.student) for line in lines if line.date.day == 6 or line.student == held}
    with lived.store.reading() as tx:
        words = tx.exec(text("SELECT text FROM inbox WHERE received_at < '2026-10-06'")).scalars().all()
    assert "1 left cable, 2 ok" not in words
    assert sum(retention.forget(lived, date(2026, 10, 6), "a-vane", True).values()) == 0


def test_it_is_due_once_the_oldest_name_is_older_than_the_folder_says(lived: Desk) -> None:
    with lived.glance() as m:
        assert retention.is_due(m) is None
    clock = lived.clock
    assert isinstance(clock, SteppedClock)
    clock.move_to(clock.now() + timedelta(days=3 * 366))
    with lived.glance() as m:
        assert retention.is_due(m) == date(2026, 10, 5)


def test_words_removed_without_a_record_of_it_show(lived: Desk) -> None:
    with lived.store.transaction() as tx:
        tx.exec(text("DELETE FROM journal_values WHERE value = '1 fixed'"))
    (difference,) = broken_streams(lived)
    assert "1 personal values are gone, 0 were forgotten on record" in difference


@pytest.mark.parametrize(
    ("today", "years", "first_kept"),
    [
        (date(2029, 10, 6), 3, date(2026, 10, 6)),
        (date(2028, 2, 29), 3, date(2025, 2, 28)),
        (date(2028, 2, 29), 4, date(2024, 2, 29)),
    ],
)
def test_years_are_counted_by_the_calendar(today: date, years: int, first_kept: date) -> None:
    assert retention.cutoff(today, years) == first_kept
