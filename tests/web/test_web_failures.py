"""Every refusal: a calm page for whoever asks for HTML, problem details (RFC 9457) for everybody else."""

import hmac
import json
import logging
from base64 import b64decode, b64encode
from datetime import datetime
from http import HTTPStatus

import pytest
from fastapi.testclient import TestClient
from httpx import Response
from test_web_inward import SECRET, SECRETS
from web_district import BOARD_KEY, BROWSER, Morning

from service.store.errors import DatabaseUnreachable
from service.web.app import create_app
from service.web.guard import LOOKS
from service.web.problems import asks_for_page

PROGRAM = {"accept": "*/*"}
FORM = "application/x-www-form-urlencoded"
BOUND = "multipart/form-data; boundary=cut"


@pytest.fixture
def anyone(morning: Morning) -> TestClient:
    return TestClient(create_app(morning.desk, morning.options()), follow_redirects=False)


def is_problem(answer: Response, status: int) -> None:
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    told = answer.json()
    assert (set(told) - {"wrong"}, told["status"]) == ({"type", "title", "status", "detail"}, status)
    assert told["title"] == HTTPStatus(status).phrase
    assert told["detail"]


def is_page(answer: Response, status: int) -> None:
    assert answer.status_code == status
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    assert "<h1>" in answer.text
    assert "look.css" in answer.text


REFUSALS = [
    ("an unknown path", "GET", "/nowhere", {}, b"", 404),
    ("an unknown drawing", "GET", "/static/nothing.css", {}, b"", 404),
    ("a link that opens nothing", "GET", "/r/rd-x/l-teal/wrong", {}, b"", 404),
    ("a standing link that opens nothing", "POST", "/s/l-teal/wrong", {"content-type": FORM}, b"do=all&word=w", 404),
    ("an unknown method", "BREW", "/board", {}, b"", 405),
    ("a method of other pages", "DELETE", "/board/act", {}, b"", 405),
    ("a long target", "GET", "/board?said=" + "x" * 5000, {}, b"", 414),
    ("a body that is too long", "POST", "/board/key", {"content-type": FORM}, b"x" * 70_000, 413),
    ("a form that is none", "POST", "/board/key", {"content-type": "application/json"}, b"{}", 415),
    ("a packed form", "POST", "/board/key", {"content-type": FORM, "content-encoding": "gzip"}, b"x", 415),
    ("a damaged form", "POST", "/board/key", {"content-type": BOUND}, b"--cut\r\n\r\nx\r\n--cut--", 400),
    ("another site", "POST", "/board/key", {"content-type": FORM, "sec-fetch-site": "cross-site"}, b"key=x", 403),
    ("a wrong key", "POST", "/board/key", {"content-type": FORM}, b"key=%ff%00", 403),
]  # fmt: skip


@pytest.mark.parametrize(
    ("method", "path", "headers", "body", "status"), [r[1:] for r in REFUSALS], ids=[r[0] for r in REFUSALS]
)
def test_every_refusal_is_a_page_or_a_problem_as_asked(anyone, method, path, headers, body, status):
    for_programs = anyone.request(method, path, headers={**PROGRAM, **headers}, content=body)
    for_people = anyone.request(method, path, headers={**BROWSER, **headers}, content=body)

    is_problem(for_programs, status)
    is_page(for_people, status)
    assert for_people.headers["cache-control"] == for_programs.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("host", ["elsewhere.example", "[[", "", "a@testserver"])
def test_under_another_name_nothing_is_shown(anyone, host):
    is_problem(anyone.get("/board", headers={**BROWSER, "host": host}), 421)


@pytest.mark.parametrize(
    ("accept", "page"),
    [
        ("", False),
        ("*/*", False),
        ("application/json", False),
        ("text/html", True),
        ("TEXT/HTML;Q=0.5", True),
        ("text/*", True),
        ("text/html;q=0", False),
        ("text/html;q=x", False),
        ("text/html;q=0.4, application/json;q=0.9", False),
        ("application/problem+json, text/html", True),
        (BROWSER["accept"], True),
    ],
)
def test_a_page_is_for_whoever_names_html_first(accept, page):
    assert asks_for_page(accept) is page


@pytest.mark.parametrize(
    ("path", "allowed"),
    [
        ("/board", {"GET", "HEAD"}),
        ("/board/act", {"POST"}),
        ("/in/chat", {"POST"}),
        ("/health", {"GET", "HEAD"}),
        ("/r/a/b/c", {"GET", "HEAD", "POST"}),
    ],
)
def test_a_wrong_method_is_told_every_right_one(anyone, path, allowed):
    answer = anyone.request("PUT", path)
    assert (answer.status_code, set(answer.headers["allow"].split(", "))) == (405, allowed)


def test_what_came_too_often_is_told_when_to_come_again(anyone):
    for _ in range(11):
        last = anyone.post("/board/key", data={"key": "wrong"}, headers=PROGRAM)
    is_problem(last, 429)
    assert 0 < int(last.headers["retry-after"]) <= 60
    is_page(anyone.post("/board/key", data={"key": BOARD_KEY}, headers=BROWSER), 429)


def test_one_address_looks_at_so_many_pages_and_still_sends_what_it_has_to_say(anyone, morning):
    morning.play_to("08:06")
    page = morning.round_path("rd-hollow-road-2026-09-15-0805-l-teal", "l-teal")
    for _ in range(LOOKS):
        anyone.get("/robots.txt")
    is_problem(anyone.get(page), 429)
    assert anyone.post(page, data={"do": "all", "word": "w"}).status_code == 303


def test_presses_of_one_person_beyond_a_hand_are_slowed_down_for_programs_as_well(anyone, morning):
    morning.play_to("08:06")
    page = morning.round_path("rd-hollow-road-2026-09-15-0805-l-teal", "l-teal")
    for n in range(61):
        last = anyone.post(page, data={"do": "2:away", "word": f"w{n}"})
    is_problem(last, 429)


@pytest.mark.parametrize(
    ("method", "path"),
    [("GET", "/board"), ("GET", "/r/a/b/c"), ("POST", "/s/a/b"), ("POST", "/in/chat"), ("GET", "/ready")],
)
def test_while_the_database_is_away_everybody_is_asked_to_come_again(morning, monkeypatch, caplog, method, path):
    def away():
        raise DatabaseUnreachable("The database postgresql://somebody@host cannot be opened.")

    monkeypatch.setattr(morning.store, "reading", away)
    anyone = TestClient(create_app(morning.desk, morning.options(board_key=None)))
    answer = anyone.request(method, path, headers=PROGRAM, data={} if method == "POST" else None)

    is_problem(answer, 503)
    assert int(answer.headers["retry-after"]) > 0
    assert "somebody" not in answer.text + caplog.text


def test_a_failure_of_ours_is_logged_by_its_place_and_never_by_its_words(morning, monkeypatch, caplog):
    def broken(*_):
        raise RuntimeError("Wren has lost it")

    monkeypatch.setattr("service.web.board.views.board", broken)
    anyone = TestClient(create_app(morning.desk, morning.options(board_key=None)))
    with caplog.at_level(logging.DEBUG):
        is_problem(anyone.get("/board", headers=PROGRAM), 500)
        is_page(anyone.get("/board", headers=BROWSER), 500)

    assert "RuntimeError at" in caplog.text
    assert "Wren" not in caplog.text


BODIES = {
    "nothing": b"",
    "no utf-8": b'{"from": "\xff", "text": "ok"}',
    "a null character": json.dumps({"from": "teal-on-chat", "text": "ok\x00"}).encode(),
    "half a character": b'{"from": "teal-on-chat", "text": "\\ud800"}',
    "half a character as sender": b'{"from": "\\ud800", "text": "ok"}',
    "very deep": b"[" * 100_000,
    "a huge number": b'{"from": ' + b"9" * 5000 + b', "text": "ok"}',
    "no object": b"[1, 2]",
    "infinity": b'{"from": NaN, "text": Infinity}',
}


def signed(body: bytes, now: datetime) -> dict[str, str]:
    """The headers of Standard Webhooks for a body that need not be text."""
    stamp = str(int(now.timestamp()))
    secret = b64decode(SECRET.removeprefix("whsec_"))
    mark = hmac.digest(secret, f"msg_1.{stamp}.".encode() + body, "sha256")
    return {
        "webhook-id": "msg_1", "webhook-timestamp": stamp, "webhook-signature": "v1," + b64encode(mark).decode(),
    }  # fmt: skip


@pytest.mark.parametrize("body", BODIES.values(), ids=BODIES)
def test_a_proven_body_of_any_kind_is_stored_or_refused_and_never_fails(morning, body):
    anyone = TestClient(create_app(morning.desk, morning.options(secrets=SECRETS.get)))
    answer = anyone.post("/in/chat", content=body, headers=signed(body, morning.clock.now()))

    assert answer.status_code in (202, 400, 422)
    if answer.status_code != 202:
        assert answer.headers["content-type"] == "application/problem+json"
        assert answer.json()["detail"]


@pytest.mark.parametrize("path", ["/r/%00/a/b", "/s/l-teal%00/x", "/in/%00"])
def test_a_character_that_no_database_holds_is_refused_in_an_address(anyone, path):
    assert anyone.post(path, data={"do": "all"}).status_code == 400
