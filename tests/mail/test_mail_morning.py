"""A morning over real HTTP and real mail: the service in a process of its own, Postfix between it and the staff, and
`bellcheck take-mail` at the end of Postfix's pipe.
"""

import json
import re
import smtplib
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from threading import Event, Thread

import httpx
import pytest

from service.engine import commands
from service.engine.clock import RealClock
from service.store.base import Store
from tests.cli.cli_run import bellcheck, environment
from tests.cli.test_cli_service import serving
from tests.engine.engine_district import district
from tests.engine.engine_mail import CHECKER, OURS, SECOND, address
from tests.engine.engine_morning import KEY, open_desk
from tests.mail.mail_dovecot import free_port
from tests.mail.mail_postfix import Postfix

pytestmark = pytest.mark.mail

GONE = "school000-room1"


@dataclass
class Town:
    """A school at its noon whose rounds have just fallen due; what the pipe made of each mail."""

    postfix: Postfix
    env: dict[str, str]
    base: str
    taken: list[int]

    def inbox_of(self, person: str) -> EmailMessage:
        """The next mail that somebody gets."""
        return message_from_bytes(self.postfix.next_mail_of(person), policy=policy.default)

    def reply(self, asked: EmailMessage, text: str, person: str) -> None:
        """Their mail program answers it."""
        mail = EmailMessage()
        mail["From"], mail["To"], mail["Subject"] = address(person), asked["Reply-To"], f"Re: {asked['Subject']}"
        mail["In-Reply-To"] = asked["Message-ID"]
        mail["Message-ID"] = f"<{time.monotonic_ns()}@phone.example>"
        mail.set_content(f"{text}\n\nOn Mon, Oct 5, 2026 at 8:05 AM Checks <{OURS}> wrote:\n> {asked['Subject']}\n")
        with smtplib.SMTP("127.0.0.1", self.postfix.port) as smtp:
            smtp.send_message(mail)

    def record(self) -> dict[str, tuple[str, str]]:
        """By student what came of the check, and who said so last."""
        ran = bellcheck("record", "--json", env=self.env)
        return {line["student"]: (line["result"], line["by"]) for line in json.loads(ran.out)}


@pytest.fixture
def town(open_folder: Path, tmp_path: Path) -> Iterator[Town]:
    postfix = Postfix(open_folder / "morning", (CHECKER, SECOND, "C", "A"), asks=True)
    port = free_port()
    base = f"http://127.0.0.1:{port}"
    env = environment(tmp_path / "bc.db", BELLCHECK_BASE_URL=base, BELLCHECK_KEY=KEY.decode())
    _set_up(env, postfix.port)
    taken: list[int] = []
    over = Event()
    pipe = Thread(target=postfix.hand_to, args=(lambda mail: _take(env, mail, taken), over))
    postfix.start()
    pipe.start()
    try:
        with serving(env, port):
            yield Town(postfix, env, base, taken)
    finally:
        over.set()
        pipe.join(60)
        postfix.stop()


def _take(env: dict[str, str], mail: bytes, taken: list[int]) -> int:
    command = [sys.executable, "-m", "service", "take-mail"]
    taken.append(subprocess.run(command, input=mail, env=env, check=False, timeout=60).returncode)
    return taken[-1]


def _set_up(env: dict[str, str], port: int) -> None:
    """Two rooms whose checks fell due a minute ago, wherever it is noon now; one checker's address is no more."""
    now = datetime.now(UTC)
    ahead = 12 - now.hour
    noon = f"Etc/GMT{-ahead:+d}" if ahead else "Etc/UTC"
    local = now + timedelta(hours=ahead)
    documents = district(rooms=2)
    school = documents["schools"]["school000"]
    school["zone"], school["week"] = noon, dict.fromkeys(("mon", "tue", "wed", "thu", "fri", "sat", "sun"), "regular")
    school["terms"] = [{"Autumn": f"{local - timedelta(days=9):%Y-%m-%d} to {local + timedelta(days=9):%Y-%m-%d}"}]
    bells = {"First bell": "11:00", "Period 1": "11:05 - 15:00", "Last bell": "15:30"}
    school["day types"]["regular"]["bells"] = [{name: times} for name, times in bells.items()]
    for student in documents["students"].values():
        student["routines"]["morning"]["when"] = {"at": f"{local - timedelta(minutes=1):%H:%M}"}
    mail = {"kind": "email", "host": "127.0.0.1", "port": port, "starttls": False, "from": OURS, "answers": True}
    documents["channels"] = {"mail": mail}
    for id, person in documents["people"].items():
        person["channels"] = [{"mail": address(id)}]
    store = Store(env["BELLCHECK_DB"])
    store.upgrade()
    commands.configure(open_desk(store, RealClock()), documents, "C")  # type: ignore[arg-type]
    store.close()


def test_prompts_answers_a_page_and_a_bounce_come_to_a_record_that_proves(town: Town) -> None:
    asked = town.inbox_of(CHECKER)
    assert asked["Subject"].startswith("3 checks by ")
    town.reply(asked, "1 ok, 2 battery", CHECKER)
    answer = town.inbox_of(CHECKER)
    assert answer["Subject"] == f"Re: {asked['Subject']}"
    assert "Recorded: 1 working; 2 bat, left. Not answered yet: 3." in _words(answer)

    page = re.search(rf"{town.base}/r/\S+", _words(asked))
    assert page
    with httpx.Client(follow_redirects=True) as browser:
        word = re.search(r'name="word" value="([^"]+)"', browser.get(page[0]).text)
        assert word
        pressed = browser.post(page[0], data={"do": "3:working", "word": word[1]})
    assert pressed.status_code == 200

    told = town.inbox_of(SECOND)
    assert told["Subject"].startswith("3 checks")
    town.reply(told, "all ok", SECOND)
    assert "Nothing is left to answer." in _words(town.inbox_of(SECOND))

    results = town.record()
    assert {student: result for student, (result, _) in results.items() if CHECKER in student} == {
        f"{CHECKER}-child0": "working", f"{CHECKER}-child1": "fault", f"{CHECKER}-child2": "working",
    }  # fmt: skip
    assert {said for student, said in results.items() if GONE in student} == {("working", SECOND)}
    assert town.taken == [0] * 3
    assert bellcheck("verify", env=town.env).code == 0


def _words(mail: EmailMessage) -> str:
    body = mail.get_body(("plain",))
    return body.get_content() if body else ""
