"""What a monitor reads: true numbers, for whoever has the key, and nobody's name among them."""

from datetime import datetime, timedelta

import pytest
from fastapi.testclient import TestClient
from prometheus_client.parser import text_string_to_metric_families
from web_district import BOARD_KEY, DEMO, Morning

from service.engine import commands, running
from service.engine.figures import p99
from service.engine.health import MAILBOX
from service.engine.held import HEARTBEAT
from service.setup import load
from service.store import marks, rounds
from service.web.app import create_app
from tests.cli.cli_run import REPOSITORY

PROOF = {"authorization": f"Bearer {BOARD_KEY}"}


@pytest.fixture
def monitor(morning: Morning) -> TestClient:
    return TestClient(create_app(morning.desk, morning.options()))


def read(monitor: TestClient) -> dict[str, float]:
    """Every figure by name and label, as the library's own reader understands the text."""
    answer = monitor.get("/metrics", headers=PROOF)
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/plain; version=0.0.4")
    families = text_string_to_metric_families(answer.text)
    return {"/".join((s.name, *s.labels.values())): s.value for family in families for s in family.samples}


def first_round(morning: Morning) -> datetime:
    """When the morning's first round is due; shelves are looked at before it."""
    with morning.desk.glance() as m:
        due = rounds.next_due(m.tx)
    assert due is not None
    return due


@pytest.mark.parametrize("said", [None, "Bearer wrong", "Bearer", f"Basic {BOARD_KEY}", BOARD_KEY])
def test_without_the_key_there_are_no_figures(monitor: TestClient, said: str | None) -> None:
    refused = monitor.get("/metrics", headers={"authorization": said} if said else {})
    assert refused.status_code == 401
    assert refused.headers["content-type"] == "application/problem+json"
    assert refused.headers["www-authenticate"].startswith("Bearer ")
    assert "bellcheck_" not in refused.text


def test_who_tries_many_keys_waits_even_with_the_right_one(monitor: TestClient) -> None:
    for _ in range(10):
        monitor.get("/metrics", headers={"authorization": "Bearer wrong"})
    assert monitor.get("/metrics", headers=PROOF).status_code == 429


def test_where_the_board_is_open_as_in_the_demo_the_figures_are_too(morning: Morning) -> None:
    answer = TestClient(create_app(morning.desk, morning.options(board_key=None))).get("/metrics")
    assert (answer.status_code, "bellcheck_chases_open 0.0" in answer.text) == (200, True)


def test_what_is_not_known_is_left_out(monitor: TestClient) -> None:
    figures = read(monitor)
    assert figures["bellcheck_rounds_due"] == figures["bellcheck_chases_open"] == 0
    assert not {"bellcheck_heartbeat_age_seconds", "bellcheck_lateness_p99_seconds"} & set(figures)


def test_rounds_that_nobody_asks_are_due_and_after_a_minute_late(morning: Morning, monitor: TestClient) -> None:
    due = first_round(morning)
    morning.clock.move_to(due)
    first = read(monitor)
    assert first["bellcheck_rounds_due"] >= 1
    assert first["bellcheck_checks_due"] >= first["bellcheck_rounds_due"]
    assert first["bellcheck_rounds_late"] == 0
    morning.clock.move_to(due + timedelta(seconds=61))
    assert read(monitor)["bellcheck_rounds_late"] >= 1


def test_a_morning_in_time_is_sent_and_not_late(morning: Morning, monitor: TestClient) -> None:
    morning.play_to("08:20")
    figures = read(monitor)
    assert figures["bellcheck_messages/accepted"] > 0
    assert figures["bellcheck_messages/refused"] == figures["bellcheck_rounds_due"] == 0
    assert figures["bellcheck_chases_open"] > 0
    assert figures["bellcheck_lateness_p99_seconds"] == 0


def test_a_pass_that_comes_half_a_minute_after_the_bell_shows_as_that(morning: Morning, monitor: TestClient) -> None:
    due = first_round(morning)
    morning.clock.move_to(due + timedelta(seconds=30))
    running.run_due(morning.desk, morning.clock.now())
    morning.clock.move_to(due + timedelta(seconds=75))
    figures = read(monitor)
    assert figures["bellcheck_lateness_p99_seconds"] == 30
    assert figures["bellcheck_oldest_unsent_seconds"] == 45
    assert figures["bellcheck_messages/waiting"] > 0


def test_what_the_pass_itself_takes_to_its_commit_shows(morning: Morning, monitor: TestClient) -> None:
    due = first_round(morning)
    morning.clock.move_to(due)

    def slow(moment: str) -> None:
        if moment == "before commit":
            morning.clock.move_to(morning.clock.now() + timedelta(seconds=3))

    morning.store.on_commit = slow
    running.run_due(morning.desk, due)
    morning.store.on_commit = None
    assert read(monitor)["bellcheck_lateness_p99_seconds"] >= 3


def test_the_age_of_the_heartbeat_is_told(morning: Morning, monitor: TestClient) -> None:
    with morning.desk.moment() as m:
        marks.set(m.tx, HEARTBEAT, m.now - timedelta(seconds=19), {})
    assert read(monitor)["bellcheck_heartbeat_age_seconds"] == 19


def test_a_mailbox_shows_when_it_was_read_since_when_it_fails_and_what_waits(morning: Morning) -> None:
    documents = {section: dict(held) for section, held in load(DEMO, {}).documents.items()}
    mailbox = {"host": "imap.school.example", "user": "checks"}
    documents["channels"]["mail"] = {**documents["channels"]["mail"], "answers": True, "mailbox": mailbox}
    commands.configure(morning.desk, documents, "c-reed")
    monitor = TestClient(create_app(morning.desk, morning.options()))
    names = [f"bellcheck_mailbox_{name}/mail" for name in ("read_age_seconds", "failing_seconds", "mails_unread")]
    assert [read(monitor).get(name) for name in names] == [None, 0, 0]

    morning.desk.mail_read["mail"] = morning.clock.now()
    commands.receive(morning.desk, commands.Received("mail", "m1", "a@b.example", "ok"))
    with morning.desk.moment() as m:
        marks.set(m.tx, MAILBOX + "mail", m.now, {"why": "no answer"})
    morning.clock.move_to(morning.clock.now() + timedelta(seconds=40))
    assert [read(monitor)[name] for name in names] == [40, 40, 1]


def test_no_id_of_anybody_is_among_the_figures(morning: Morning, monitor: TestClient) -> None:
    morning.play_to("08:20")
    said = monitor.get("/metrics", headers=PROOF).text
    documents = load(REPOSITORY / "config_demo", {}).documents
    ids = [id for section in ("schools", "people", "students") for id in documents[section]]
    assert [id for id in ids if id in said] == []


def test_of_a_hundred_the_99th_counts() -> None:
    assert (p99([]), p99([4.0]), p99([float(n) for n in range(100, 0, -1)])) == (None, 4.0, 99.0)
