"""The door for programs, over real HTTP on loopback: stored first, answered second, read afterwards."""

import json
import threading
import time
from collections.abc import Iterator

import httpx
import pytest
import uvicorn
from fastapi.testclient import TestClient
from sqlmodel import select
from standardwebhooks import Webhook
from web_district import Morning

from service.store import rounds
from service.store.tables import InboxRow
from service.web.app import create_app

SECRET = "whsec_" + "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
SECRETS = {"BELLCHECK_DEMO_CHAT_SECRET": SECRET, "BELLCHECK_DEMO_L_TEAL": "teal-on-chat"}


class Served:
    """The application on a port of its own, and what it woke the engine for."""

    def __init__(self, morning: Morning) -> None:
        self.morning, self.woken = morning, 0
        options = morning.options(secrets=SECRETS.get, wake=self.wake)
        config = uvicorn.Config(
            create_app(morning.desk, options), port=0, log_level="error", access_log=False
        )
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.server.run, daemon=True)

    def wake(self) -> None:
        self.woken += 1

    def __enter__(self) -> "Served":
        self.thread.start()
        end = time.monotonic() + 10
        while not self.server.started and time.monotonic() < end:
            time.sleep(0.01)
        port = self.server.servers[0].sockets[0].getsockname()[1]
        self.base = f"http://127.0.0.1:{port}"
        return self

    def __exit__(self, *_: object) -> None:
        self.server.should_exit = True
        self.thread.join(10)

    def send(self, body: object, id: str = "msg_1", channel: str = "chat", **changed: str) -> httpx.Response:
        """Send a message as a chat tool would, signed by the published reference library."""
        text = body if isinstance(body, str) else json.dumps(body)
        at = self.morning.clock.now()
        signed = {
            "webhook-id": id,
            "webhook-timestamp": str(int(at.timestamp())),
            "webhook-signature": Webhook(SECRET).sign(id, at, text),
        }
        return httpx.post(f"{self.base}/in/{channel}", content=text.encode(), headers={**signed, **changed})


@pytest.fixture
def served(morning: Morning) -> Iterator[Served]:
    morning.play_to("08:06")
    with Served(morning) as made:
        yield made


def inbox(morning: Morning) -> list[InboxRow]:
    with morning.store.reading() as tx:
        return list(tx.exec(select(InboxRow)))


def test_a_signed_message_is_stored_before_it_is_answered_and_read_afterwards(served, morning):
    answer = served.send({"from": "teal-on-chat", "text": "all ok"})

    assert answer.status_code == 202
    (row,) = inbox(morning)
    assert answer.json() == {"id": row.id}
    assert (row.state, row.person, row.text, row.proven) == ("unread", "l-teal", "all ok", True)
    assert served.woken == 1

    morning.step()
    with morning.store.reading() as tx:
        held = rounds.checks_of(tx, "rd-hollow-road-2026-09-15-0805-l-teal")
    assert [c.result for c in held] == ["working"] * 3


def test_a_repeated_message_gets_the_first_answer_and_is_stored_once(served, morning):
    first = served.send({"from": "teal-on-chat", "text": "all ok"})
    again = served.send({"from": "teal-on-chat", "text": "2 cable"})

    assert (first.status_code, first.json()) == (again.status_code, again.json())
    assert [row.text for row in inbox(morning)] == ["all ok"]


@pytest.mark.parametrize(
    ("changed", "status", "title"),
    [
        ({"webhook-signature": "v1,AAAA"}, 401, "Not proven"),
        ({"webhook-timestamp": "1500000000"}, 401, "Not proven"),
        ({"webhook-timestamp": "4000000000"}, 401, "Not proven"),
    ],
    ids=["wrong", "old", "future"],
)
def test_a_message_that_is_not_proven_is_refused_as_a_problem(served, morning, changed, status, title):
    answer = served.send({"from": "teal-on-chat", "text": "ok"}, **changed)

    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["title"] == title
    assert set(answer.json()) == {"type", "title", "status", "detail"}
    assert inbox(morning) == []


def test_a_channel_that_does_not_exist_is_not_found(served):
    answer = served.send({"from": "x", "text": "ok"}, channel="pigeon")
    assert (answer.status_code, answer.json()["title"]) == (404, "Not found")


def test_a_body_that_is_no_json_says_where(served):
    answer = served.send('{"from": "teal-on-chat", "text": ')
    assert answer.status_code == 400
    assert "line 1" in answer.json()["detail"]


def test_a_reply_of_a_megabyte_is_kept_from_its_beginning_and_flagged(served, morning):
    answer = served.send({"from": "teal-on-chat", "text": "2 cable " + "x" * 1_000_000})

    assert answer.status_code == 202
    (row,) = inbox(morning)
    assert row.truncated
    assert len(row.text.encode()) <= 64 * 1024
    assert row.text.startswith("2 cable")


def test_a_message_of_more_than_four_megabytes_is_refused(served, morning):
    answer = httpx.post(f"{served.base}/in/chat", content=b"x" * (4 * 1024 * 1024 + 1))
    assert answer.status_code == 413
    assert inbox(morning) == []


def test_a_sender_nobody_knows_is_stored_all_the_same(served, morning):
    assert served.send({"from": "a stranger", "text": "a child swallowed a battery"}).status_code == 202
    assert [row.person for row in inbox(morning)] == [None]


def test_health_and_ready_answer(served):
    assert httpx.get(f"{served.base}/health").json() == {"ok": True, "wrong": []}
    assert httpx.get(f"{served.base}/ready").json() == {"ok": True, "wrong": []}


def test_a_service_that_cannot_work_says_why(morning):
    app = create_app(morning.desk, morning.options(ready=lambda: ("mail does not answer",)))
    answer = TestClient(app).get("/ready")
    assert (answer.status_code, answer.headers["content-type"]) == (503, "application/problem+json")
    assert answer.json()["wrong"] == ["mail does not answer"]
    assert int(answer.headers["retry-after"]) > 0


def test_an_unknown_path_for_programs_is_a_problem_and_for_people_a_page(served):
    for_programs = httpx.get(f"{served.base}/in/chat")
    for_people = httpx.get(f"{served.base}/nowhere", headers={"accept": "text/html"})

    assert (for_programs.status_code, for_programs.headers["content-type"]) == (
        405,
        "application/problem+json",
    )
    assert "There is no such page" in for_people.text


def test_the_api_describes_itself_and_needs_nothing_from_elsewhere(served):
    document = httpx.get(f"{served.base}/openapi.json").json()

    assert {"/in/{channel}", "/health", "/ready", "/board"} < set(document["paths"])
    assert document["paths"]["/in/{channel}"]["post"]["responses"]["202"]
    assert httpx.get(f"{served.base}/docs").status_code == 404


def test_ready_answers_soon_while_the_database_hangs(
    morning: Morning, monkeypatch: pytest.MonkeyPatch
) -> None:
    over = threading.Event()
    reading = morning.store.reading

    def hangs() -> object:
        over.wait(20)
        return reading()

    with Served(morning) as served:
        monkeypatch.setattr(morning.store, "reading", hangs)
        answer = httpx.get(f"{served.base}/ready", timeout=8)
        over.set()
        assert answer.status_code == 503
        assert answer.json()["wrong"] == ["the database does not answer"]
