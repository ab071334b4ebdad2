"""Connections over real TCP: slow, silent, many, and what is no HTTP; none of it stops a normal reply."""

import json
import resource
import time
from collections.abc import Iterator
from contextlib import ExitStack

import httpx
import pytest
from web_district import Morning
from web_served import opened, raw, served, to_the_end

from service.web.app import create_app
from service.web.connections import LIMITS, Limits

QUICK = Limits(silent=0.3, head=0.3, body=0.3, answer=5.0, head_bytes=4096)
FORM = b"content-type: application/x-www-form-urlencoded\r\n"


@pytest.fixture(scope="module")
def port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    """The application with quick limits."""
    morning = Morning(tmp_path_factory.mktemp("connections") / "b.db")
    with served(create_app(morning.desk, morning.options()), QUICK) as made:
        yield made
    morning.store.close()


def problem(answer: bytes) -> tuple[int, dict[str, object]]:
    """Status and problem of a raw answer, which must be whole and end the connection."""
    head, _, body = answer.partition(b"\r\n\r\n")
    assert b"content-type: application/problem+json" in head.lower()
    found = json.loads(body)
    assert set(found) == {"type", "title", "status", "detail"}
    status = int(head.split()[1])
    assert found["status"] == status
    return status, found


def test_two_hundred_slow_senders_do_not_hold_up_a_normal_reply(morning: Morning):
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(4096, hard), hard))
    page = morning.round_path("rd-hollow-road-2026-09-15-0805-l-teal", "l-teal")
    morning.play_to("08:06")
    patient = Limits(head=60.0)
    with served(create_app(morning.desk, morning.options()), patient) as port, ExitStack() as held:
        slow = [held.enter_context(opened(port, b"POST /in/chat HTTP/1.1\r\nhost: 127.0.0.1\r\n")) for _ in range(200)]
        for each in slow:
            each.sendall(b"x-one-more: byte\r\n")
        began = time.monotonic()
        pressed = httpx.post(f"http://127.0.0.1:{port}{page}", data={"do": "all", "word": "w"}, timeout=30)
        took = time.monotonic() - began
        open_still = [each for each in slow if each.fileno() > 0 and not _has_ended(each)]
    resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))

    assert pressed.status_code == 303
    assert took < 20
    assert len(open_still) == 200


def _has_ended(connection) -> bool:
    connection.setblocking(False)
    try:
        return connection.recv(1) == b""
    except BlockingIOError:
        return False


def test_a_request_that_does_not_end_is_answered_and_cut(port):
    head = raw(port, b"GET /health HTTP/1.1\r\nhost: 127.0.0.1\r\n")
    body = raw(port, b"POST /board/key HTTP/1.1\r\nhost: 127.0.0.1\r\n" + FORM + b"content-length: 9\r\n\r\nkey=")

    assert problem(head)[0] == 408
    assert problem(body)[0] == 408


def test_single_bytes_buy_no_more_time(port):
    began = time.monotonic()
    with opened(port, b"GET / HTTP/1.1\r\n") as dripping:
        dripping.settimeout(0.05)
        got = b""
        while time.monotonic() - began < 5:
            try:
                dripping.sendall(b"x")
                got += dripping.recv(4096)
            except TimeoutError:
                continue
            except OSError:
                break
            if got:
                break
    assert time.monotonic() - began < 3
    assert got.startswith(b"HTTP/1.1 408")


def test_a_silent_connection_is_ended_without_a_word(port):
    with opened(port) as silent:
        assert to_the_end(silent) == b""


def test_a_connection_that_stays_open_after_an_answer_is_ended_too(port):
    with opened(port, b"GET /health HTTP/1.1\r\nhost: 127.0.0.1\r\n\r\n") as kept:
        assert to_the_end(kept).endswith(b'{"ok":true,"wrong":[]}')


def test_where_all_places_are_taken_the_longest_wait_makes_room(morning: Morning):
    limits = Limits(silent=30.0, connections=5)
    with served(create_app(morning.desk, morning.options()), limits) as port, ExitStack() as held:
        waiting = [held.enter_context(opened(port)) for _ in range(5)]
        time.sleep(0.05)
        assert httpx.get(f"http://127.0.0.1:{port}/health").status_code == 200
        assert to_the_end(waiting[0]) == b""
        assert not _has_ended(waiting[4])


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n", 400),
        (b"GET\r\n\r\n", 400),
        (b"GET / HTTP/9.9\r\nhost: 127.0.0.1\r\n\r\n", 505),
        (b"GET /health HTTP/1.1\r\n\r\n", 400),
        (b"GET /health HTTP/1.1\r\nhost: a\r\nhost: b\r\n\r\n", 400),
        (b"GET /health HTTP/1.1\r\nhost : 127.0.0.1\r\n\r\n", 400),
        (b"GET /h\xc3\xa4 HTTP/1.1\r\nhost: 127.0.0.1\r\n\r\n", 400),
        (b"POST /in/chat HTTP/1.1\r\nhost: 127.0.0.1\r\ncontent-length: 5\r\ncontent-length: 6\r\n\r\nabcde", 400),
        (b"POST /in/chat HTTP/1.1\r\nhost: 127.0.0.1\r\ncontent-length: -1\r\n\r\n", 400),
        (b"POST /in/chat HTTP/1.1\r\nhost: 127.0.0.1\r\ntransfer-encoding: xchunked\r\n\r\n", 501),
        (b"POST /in/chat HTTP/1.1\r\nhost: 127.0.0.1\r\ntransfer-encoding: chunked\r\n\r\nzz\r\n", 400),
        (b"GET /" + b"x" * 8000 + b" HTTP/1.1\r\nhost: 127.0.0.1\r\n\r\n", 414),
        (b"GET / HTTP/1.1\r\nhost: 127.0.0.1\r\nx: " + b"x" * 17000 + b"\r\n\r\n", 431),
        (b"GET /health HTTP/1.1\r\nhost: 127.0.0.1\r\nx: " + b"y" * 8000, 431),
    ],
    ids=[
        "tls", "no target", "no such version", "no host", "two hosts", "a space in a name", "no ascii",
        "two lengths", "a negative length", "an unknown coding", "a bad chunk", "a long target", "many headers",
        "headers without end",
    ],
)  # fmt: skip
def test_what_is_no_http_is_refused_as_a_problem(port, sent, status):
    found, told = problem(raw(port, sent))
    assert found == status
    assert "Traceback" not in str(told)


def test_a_request_hidden_in_another_ones_body_is_not_answered(port):
    hidden = b"GET /health HTTP/1.1\r\nhost: 127.0.0.1\r\n\r\n"
    sent = b"POST /in/chat HTTP/1.1\r\nhost: 127.0.0.1\r\ncontent-length: %d\r\n" % len(hidden)
    both = sent + b"transfer-encoding: chunked\r\n\r\n0\r\n\r\n" + hidden
    answer = raw(port, both)

    # RFC 9112, 6.3: a message with both is a likely attack; whichever way it is read, the connection ends.
    assert answer.startswith(b"HTTP/1.1 400")
    assert answer.count(b"HTTP/1.1") == 1
    assert b'{"ok"' not in answer


def test_a_body_that_grows_without_a_length_is_refused_while_it_comes(port):
    head = b"POST /board/key HTTP/1.1\r\nhost: 127.0.0.1\r\ntransfer-encoding: chunked\r\n" + FORM + b"\r\n"
    answer = raw(port, head + b"fff\r\n" + b"x" * 0xFFF + b"\r\n" + (b"ffff\r\n" + b"y" * 0xFFFF + b"\r\n") * 2)
    assert b"413" in answer.split(b"\r\n", 1)[0]
    assert b"application/problem+json" in answer


def test_the_limits_in_service_leave_room_below_the_usual_count_of_open_files():
    assert LIMITS.connections + LIMITS.backlog < 1024
