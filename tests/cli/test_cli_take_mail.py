"""`bellcheck take-mail` as a mail server calls it: in a process of its own, by its exit code."""

import subprocess
import sys
from pathlib import Path

import pytest
from sqlmodel import select

from service.engine import commands
from service.engine.clock import RealClock
from service.store.base import Store
from service.store.tables import InboxRow
from tests.engine.engine_mail import CHECKER, address, by_mail, reply
from tests.engine.engine_morning import KEY, open_desk

MAIL = reply("2 battery", address(CHECKER))


def taken(environ: dict[str, str], mail: bytes, *more: str) -> "subprocess.CompletedProcess[bytes]":
    command = [sys.executable, "-m", "service", "take-mail", *more]
    return subprocess.run(command, input=mail, capture_output=True, env=environ, check=False, timeout=60)


@pytest.fixture
def environ(tmp_path: Path) -> dict[str, str]:
    """An SQLite file with a district in force."""
    environ = {"BELLCHECK_DB": f"sqlite:///{tmp_path / 'bc.db'}", "BELLCHECK_KEY": KEY.decode(), "HOME": str(tmp_path)}
    store = Store(environ["BELLCHECK_DB"])
    store.upgrade()
    commands.configure(open_desk(store, RealClock()), by_mail(), "C")  # type: ignore[arg-type]
    store.close()
    return {**environ, "PYTHONPATH": str(Path(__file__).parents[2])}


def stored(environ: dict[str, str]) -> list[tuple[str | None, str, str]]:
    store = Store(environ["BELLCHECK_DB"])
    with store.reading() as tx:
        found = [(row.person, row.text, row.state) for row in tx.exec(select(InboxRow))]
    store.close()
    return found


def test_a_mail_is_stored_for_the_service_to_read(environ: dict[str, str]) -> None:
    assert taken(environ, MAIL).returncode == 0
    assert taken(environ, MAIL, "--channel", "mail").returncode == 0
    assert stored(environ) == [(CHECKER, "2 battery", "unread")]


def test_what_a_later_attempt_may_cure_is_to_be_tried_again(environ: dict[str, str]) -> None:
    answers = {
        "no such channel": taken(environ, MAIL, "--channel", "pigeon"),
        "no database": taken({**environ, "BELLCHECK_DB": "sqlite:////nowhere/at/all/bc.db"}, MAIL),
        "no key": taken({**environ, "BELLCHECK_KEY": ""}, MAIL),
    }
    assert {why: answer.returncode for why, answer in answers.items()} == dict.fromkeys(answers, 75)
    assert all(answer.stderr.strip() and b"Traceback" not in answer.stderr for answer in answers.values())


def test_nothing_is_no_mail_and_is_not_tried_again(environ: dict[str, str]) -> None:
    assert taken(environ, b" \n").returncode == 65
    assert stored(environ) == []
