"""What is looked up when somebody writes: their rounds, their messages, what they said, what is open."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event
from sqlmodel import Session
from store_rows import DAY, EIGHT, a_chase, a_check, a_letter, a_message, a_notice, a_round, a_tray, minutes

from service.store import chases, inbox, marks, notices, outbox, rounds, statements, tray
from service.store.base import Store
from service.store.journal import Journal
from service.store.tables import StatementRow


def stored(store: Store, *rows: object) -> None:
    with store.transaction() as tx:
        tx.add_all(rows)


def ids(rows: list[Any]) -> list[str]:
    return [row.id for row in rows]


def test_a_persons_asked_rounds_are_those_asked_since_as_checker_or_second(store: Store) -> None:
    asked = {"state": "asked", "asked_at": EIGHT}
    stored(
        store,
        a_round("b", **asked), a_round("a", **asked, checker="x", second="l-teal", due=minutes(1)),
        a_round("old", state="asked", asked_at=minutes(-1)), a_round("planned"), a_round("c", **asked, checker="x"),
    )  # fmt: skip
    with store.reading() as tx:
        assert ids(rounds.asked_of(tx, "l-teal", EIGHT)) == ["b", "a"]


def test_the_rounds_around_an_instant_include_both_ends_and_no_dropped_ones(store: Store) -> None:
    stored(
        store,
        a_round("a", due=minutes(-5)), a_round("b", due=minutes(5), checker="x", second="l-teal"),
        a_round("c", due=minutes(6)), a_round("d", state="dropped"), a_round("e", checker="x"),
    )  # fmt: skip
    with store.reading() as tx:
        assert ids(rounds.around(tx, "l-teal", minutes(-5), minutes(5))) == ["a", "b"]


def test_a_days_checks_are_all_of_them_by_round_and_number(store: Store) -> None:
    stored(
        store,
        a_check("b", number=2), a_check("c", number=1, state="closed"), a_check("a", round_id="round-2"),
        a_check("d", school="oak"),
    )  # fmt: skip
    with store.reading() as tx:
        assert [row.id for row in rounds.checks_of_day(tx, "elm", DAY)] == ["c", "b", "a"]


def test_the_last_message_to_a_person_is_of_the_purposes_asked_for_and_not_dropped(store: Store) -> None:
    stored(
        store,
        a_message("m-1"), a_message("m-2", created_at=minutes(1), purpose="news"),
        a_message("m-3", created_at=minutes(2), state="dropped"), a_message("m-4", person="x", created_at=minutes(9)),
    )  # fmt: skip
    with store.reading() as tx:
        assert outbox.last_to(tx, "l-teal").id == "m-2"
        assert outbox.last_to(tx, "l-teal", ["prompt", "alert"]).id == "m-1"
        assert outbox.last_to(tx, "l-teal", ["answer"]) is None


def test_a_persons_recent_messages_come_newest_first_without_the_one_in_hand(store: Store) -> None:
    hers = {"person": "l-teal", "state": "read"}
    stored(
        store,
        a_letter("in-1", **hers), a_letter("in-2", **hers, received_at=minutes(1)),
        a_letter("in-3", **hers, received_at=minutes(2)), a_letter("in-4", person="l-teal"),
        a_letter("in-5", person="x", state="read"),
    )  # fmt: skip
    with store.reading() as tx:
        assert [row.id for row in inbox.recent_of(tx, "l-teal", "in-3")] == ["in-2", "in-1"]
        assert [row.id for row in inbox.recent_of(tx, "l-teal", "in-3", limit=1)] == ["in-2"]


def test_statements_stand_in_the_order_said_until_they_are_taken_back(store: Store) -> None:
    stored(store, a_check("check-1"), a_check("check-2"))
    said = [("check-1", "in-1"), ("check-1", "in-2"), ("check-2", "in-2")]
    with store.transaction() as tx:
        for check, letter in said:
            statements.add(tx, StatementRow(check_id=check, at=EIGHT, person="l-teal", inbox_id=letter))
        first, second = statements.of_check(tx, "check-1")
        assert (first.inbox_id, second.inbox_id) == ("in-1", "in-2")
        statements.retract(tx, first, minutes(1))
    with store.reading() as tx:
        assert [row.inbox_id for row in statements.of_check(tx, "check-1")] == ["in-2"]
        assert [row.check_id for row in statements.of_message(tx, "in-2")] == ["check-1", "check-2"]
        assert statements.of_message(tx, "in-1") == []
        assert tx.get(StatementRow, first.id).retracted_at == minutes(1)


def test_open_chases_are_found_by_student_by_alarm_and_all(store: Store) -> None:
    fault = {"why": "fault", "student": "s-1"}
    stored(
        store,
        a_chase("b", **fault), a_chase("a", **fault), a_chase("ended", **fault, ended_at=EIGHT),
        a_chase("silence", student="s-1"), a_chase("other", why="fault", student="s-2"),
        a_chase("alarm", why="fault", severity="emergency"),
        a_chase("alarm-oak", why="fault", severity="emergency", school="oak"),
    )  # fmt: skip
    with store.reading() as tx:
        assert chases.open_faults_of(tx, "s-1") == ["a", "b"]
        assert chases.open_alarms(tx) == ["alarm", "alarm-oak"]
        assert chases.open_alarms(tx, "oak") == ["alarm-oak"]
        assert chases.open_ids(tx) == ["a", "alarm", "alarm-oak", "b", "other", "silence"]


def test_silence_can_be_left_for_later(store: Store) -> None:
    stored(store, a_chase("silence"), a_chase("fault", why="fault"))
    with store.transaction() as tx:
        assert chases.due(tx, EIGHT, 10) == ["fault", "silence"]
        assert chases.due(tx, EIGHT, 10, without_silence=True) == ["fault"]


@pytest.mark.postgres
def test_on_postgresql_a_chase_already_looked_at_is_read_anew_when_it_is_locked(postgresql_url: str) -> None:
    one, other = Store(postgresql_url), Store(postgresql_url)
    stored(one, a_chase())
    with one.transaction() as tx:
        (seen,) = chases.of_check(tx, "check-1")
        with other.transaction() as beside:
            chases.lock(beside, "chase-1").step = 1
        assert seen.step == 0
        assert chases.lock(tx, "chase-1").step == 1
    one.close()
    other.close()


def test_single_rows_are_found_or_none(store: Store) -> None:
    stored(store, a_chase(), a_round(), a_message(), a_letter(), a_notice())
    with store.transaction() as tx:
        found = [
            chases.get(tx, "chase-1"), rounds.get(tx, "round-1"), outbox.get(tx, "msg-1"), inbox.lock(tx, "in-1"),
            notices.get(tx, "n-1"),
        ]  # fmt: skip
        assert ids(found) == ["chase-1", "round-1", "msg-1", "in-1", "n-1"]
        missing = [one(tx, "none") for one in (chases.get, rounds.get, outbox.get, inbox.lock, notices.get)]
        assert missing == [None] * 5


def test_a_tray_counts_what_a_chase_laid_for_a_person_sent_or_not(store: Store) -> None:
    stored(
        store,
        a_tray("1", purpose="alert"), a_tray("2", purpose="alert", generation=1, outbox_id="msg-1"),
        a_tray("3", purpose="news"), a_tray("4", purpose="alert", person="x"),
        a_tray("5", purpose="alert", chase_id="chase-2"),
    )  # fmt: skip
    with store.reading() as tx:
        seen = tray.laid_about(tx, ["chase-1", "chase-3"])
    assert seen == {
        "chase-1": {
            (0, "l-teal", "alert", 0), (0, "l-teal", "alert", 1), (0, "l-teal", "news", 0),
            (0, "x", "alert", 0),
        }
    }  # fmt: skip


def test_when_a_person_was_last_written_to_is_known_without_a_lock(store: Store) -> None:
    with store.transaction() as tx:
        assert tray.last_sent(tx, ["l-teal"]) == {"l-teal": None}
        tray.lock_person(tx, "l-teal").last_at = EIGHT
    with store.reading() as tx:
        assert tray.last_sent(tx, ["l-teal", "x"]) == {"l-teal": EIGHT, "x": None}


PREFIXES = ("gone/l-teal/", "gone/L-TEAL/", "gone/l_", "rest/")


def test_marks_are_found_by_the_beginning_of_their_key_as_it_is_spelled(store: Store) -> None:
    with store.transaction() as tx:
        for key in (
            "gone/l-teal/mail",
            "gone/l-teal/chat",
            "gone/L-TEAL/phone",
            "gone/l-teal2/phone",
            "gone/l_teal/x",
        ):
            marks.set(tx, key, EIGHT, {})
        found = {prefix: [m.key for m in marks.with_prefix(tx, prefix)] for prefix in PREFIXES}
    assert found == {
        "gone/l-teal/": ["gone/l-teal/chat", "gone/l-teal/mail"],
        "gone/L-TEAL/": ["gone/L-TEAL/phone"],
        "gone/l_": ["gone/l_teal/x"],
        "rest/": [],
    }


def test_streams_that_have_begun_are_known_in_order(store: Store) -> None:
    journal = Journal(b"key")
    with store.transaction() as tx:
        assert journal.streams(tx) == []
        for stream in ("oak/2026-09-14", "elm/2026-09-14"):
            journal.append(tx, stream, EIGHT, "tick")
        assert journal.streams(tx) == ["elm/2026-09-14", "oak/2026-09-14"]


QUESTIONS = [
    ("rounds", lambda tx: rounds.asked_of(tx, "x", EIGHT)),
    ("rounds", lambda tx: rounds.around(tx, "x", EIGHT, EIGHT)),
    ("rounds", lambda tx: rounds.due(tx, EIGHT, 10)),
    ("rounds", rounds.next_due),
    ("checks", lambda tx: rounds.checks_of(tx, "x")),
    ("checks", lambda tx: rounds.open_checks(tx, "x", DAY)),
    ("checks", lambda tx: rounds.student_checks(tx, "x", DAY, DAY)),
    ("chases", lambda tx: chases.due(tx, EIGHT, 10)),
    ("chases", chases.next_wake),
    ("chases", lambda tx: chases.of_check(tx, "x")),
    ("chases", lambda tx: chases.open_of_school(tx, "x")),
    ("chases", lambda tx: chases.open_faults_of(tx, "x")),
    ("outbox", lambda tx: outbox.claim(tx, EIGHT, "x", EIGHT, 10)),
    ("outbox", outbox.next_at),
    ("outbox", outbox.next_lease),
    ("outbox_chases", lambda tx: outbox.unfinished(tx, ["x"])),
    ("outbox", lambda tx: outbox.last_to(tx, "x")),
    ("tray", lambda tx: tray.waiting(tx, "x")),
    ("tray", lambda tx: tray.people_due(tx, EIGHT)),
    ("tray", tray.next_release),
    ("tray", lambda tx: tray.laid_about(tx, ["x"])),
    ("inbox", lambda tx: inbox.unread(tx, 10)),
    ("inbox", lambda tx: inbox.recent_of(tx, "x", "y")),
    ("statements", lambda tx: statements.of_check(tx, "x")),
    ("statements", lambda tx: statements.of_message(tx, "x")),
    ("notices", lambda tx: notices.active(tx, DAY, DAY)),
]


@pytest.mark.parametrize(("table", "question"), QUESTIONS)
def test_no_question_of_a_morning_reads_a_whole_table(
    store_in_file: Store, table: str, question: Callable[[Session], Any]
) -> None:
    asked: list[tuple[str, object]] = []
    with store_in_file.transaction() as tx:
        listen(tx, asked)
        question(tx)
        plans = [
            row[3]
            for statement, values in asked
            for row in tx.connection().exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", values)
        ]
    assert any(f"{table} USING" in plan for plan in plans), plans
    assert not [plan for plan in plans if plan.startswith(f"SCAN {table}") and "INDEX" not in plan]


def test_what_is_on_its_way_about_many_chases_is_not_sought_among_all_that_is(store_in_file: Store) -> None:
    about = [f"chase-{n}" for n in range(300)]
    messages = {f"k-{n}": a_message(f"msg-{n}", key=f"k-{n}").model_dump() for n in range(300)}
    asked: list[tuple[str, object]] = []
    with store_in_file.transaction() as tx:
        outbox.put(tx, {key: (m, [about[n]]) for n, (key, m) in enumerate(messages.items())})
        tx.flush()
        listen(tx, asked)
        assert len(outbox.unfinished(tx, about)) == 300
        plans = [
            row[3]
            for statement, values in asked
            for row in tx.connection().exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", values)
        ]
    assert not [plan for plan in plans if "state=?" in plan or plan.startswith("SCAN")], plans


@pytest.fixture
def store_in_file(tmp_path: Path) -> Iterator[Store]:
    store = Store(f"sqlite:///{tmp_path / 'bellcheck.db'}")
    store.upgrade()
    yield store
    store.close()


def listen(tx: Session, asked: list[tuple[str, object]]) -> None:
    """Note each statement and its values as they go to the database."""

    @event.listens_for(tx.connection(), "before_cursor_execute")
    def note(_c: object, _cursor: object, statement: str, values: object, _x: object, _many: bool) -> None:
        if not statement.startswith("EXPLAIN"):
            asked.append((statement, values))
