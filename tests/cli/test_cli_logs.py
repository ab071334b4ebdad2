"""The log: objects that a program reads, and nobody's words in it whatever goes wrong."""

import asyncio
import gc
import io
import json
import logging
import sys
import threading
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from service import logs
from service.engine import hearing
from service.engine.clock import SteppedClock
from service.store.base import Store
from service.web.app import create_app
from service.web.options import WebOptions
from tests.engine.engine_lived import MORNING, UNREAD, documents, lived_desk, play_morning
from tests.engine.engine_morning import at, says

ODD = ("Wren\n1 ok\x1b[31m", "\N{THUMBS UP SIGN}" * 500, "{alias} %s %(message)s", '"}{"level": "info"')
"""Words that are no answer, and some that would break a careless line."""


@pytest.fixture
def log(monkeypatch: pytest.MonkeyPatch) -> Iterator[io.StringIO]:
    """Where the log goes, set up as JSON from `info` on; what stood before is put back."""
    root, written = logging.getLogger(), io.StringIO()
    named = {name: logging.getLogger(name).level for name in ("alembic", "uvicorn", "apscheduler")}
    before, level = root.handlers[:], root.level
    hooks = sys.excepthook, threading.excepthook
    root.handlers = []
    monkeypatch.setattr("sys.stderr", written)
    logs.set_up("json", "info", "i-1")
    yield written
    root.handlers, root.level = before, level
    sys.excepthook, threading.excepthook = hooks
    for name, was in named.items():
        logging.getLogger(name).setLevel(was)


@pytest.fixture
def text_log(log: io.StringIO) -> io.StringIO:
    """The same as lines for people."""
    logs.set_up("text", "info", "i-1")
    return log


def lines(log: io.StringIO) -> list[dict[str, str]]:
    return [json.loads(line) for line in log.getvalue().splitlines()]


def test_each_line_is_an_object_whoever_logs_and_a_failure_is_told_by_its_place(log: io.StringIO) -> None:
    try:
        raise RuntimeError("Wren has lost it")
    except RuntimeError:
        logging.getLogger("uvicorn.error").exception("two\nlines")
    (line,) = lines(log)
    assert datetime.fromisoformat(line.pop("instant")).tzinfo == UTC
    assert line.pop("failure").startswith("RuntimeError at test_cli_logs.py:")
    assert line == {"level": "error", "logger": "uvicorn.error", "message": "two\nlines", "instance": "i-1"}


def fails() -> None:
    raise RuntimeError("Wren has lost it")


def test_a_line_for_people_names_a_failure_by_its_place_too_and_stays_one_line(text_log: io.StringIO) -> None:
    try:
        fails()
    except RuntimeError:
        logging.getLogger("uvicorn.error").exception("Exception in\nASGI application")
    (line,) = text_log.getvalue().splitlines()
    assert "ERROR uvicorn.error Exception in ASGI application: RuntimeError at test_cli_logs.py:" in line
    assert "Wren" not in line


@pytest.mark.parametrize("kind", ["text", "json"])
def test_what_nobody_caught_in_thread_task_or_process_is_told_without_its_words(
    log: io.StringIO, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stderr", log)
    logs.set_up(kind, "info", "i-1")
    thread = threading.Thread(target=fails)
    thread.start()
    thread.join()

    async def forgotten() -> None:
        async def task() -> None:
            fails()

        held = asyncio.ensure_future(task())
        await asyncio.sleep(0)
        del held
        gc.collect()

    asyncio.run(forgotten())
    try:
        fails()
    except RuntimeError as failure:
        sys.excepthook(RuntimeError, failure, failure.__traceback__)
    said = log.getvalue().splitlines()
    assert len(said) == 3
    assert all("RuntimeError at test_cli_logs.py:" in line for line in said)
    assert "Wren" not in log.getvalue()


def test_a_lived_morning_with_faults_failures_and_odd_words_leaves_nobody_in_the_log(
    log: io.StringIO, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    store = Store(f"sqlite:///{tmp_path / 'b.db'}")
    store.upgrade()
    desk = lived_desk(store, SteppedClock(at("07:00")))
    play_morning(desk)
    for n, text in enumerate(ODD):
        says(desk, "l-teal", text, f"odd-{n}")

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError(f"{MORNING[0][2]} said l-teal of Wren")

    options = WebOptions("http://testserver", None, ("testserver",), lambda: datetime.now(UTC))
    with monkeypatch.context() as patched:
        patched.setattr(hearing, "_note", broken)
        patched.setattr("service.web.board.views.board", broken)
        TestClient(create_app(desk, options)).get("/board")
        says(desk, "j-aske", "1 battery, 2 ok", "failing")
        hearing.read_all(desk, desk.clock.now())
    store.close()

    said = log.getvalue()
    assert {line["logger"] for line in lines(log)} >= {"service.engine.hearing", "service.web.failures"}
    assert [word for word in personal() if word in said or json.dumps(word)[1:-1] in said] == []


def personal() -> set[str]:
    """Every alias, name, address and word of the district and its morning."""
    told = documents()
    words = {text for _, _, text in MORNING} | {UNREAD[1], *ODD, "1 battery, 2 ok"}
    words |= {student["alias"] for student in told["students"].values()}
    for person in told["people"].values():
        words.add(person["name"])
        words |= {str(way) for way in _leaves(person.get("channels", {}))}
    assert len(words) > 40
    return words


def _leaves(found: object) -> Iterator[object]:
    if isinstance(found, dict):
        for each in found.values():
            yield from _leaves(each)
    elif isinstance(found, list):
        for each in found:
            yield from _leaves(each)
    else:
        yield found
