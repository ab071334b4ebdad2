"""`bellcheck preflight` against real receivers, a real mail server and real databases, well and unwell."""

import asyncio
import json
import socket
import threading
import time
from base64 import b64encode
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from email.utils import formatdate
from hashlib import sha256
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import psycopg
import pytest
from sqlalchemy.engine import make_url
from standardwebhooks import Webhook

from service.channels.addresses import AddressGuard
from service.core.district import ChannelSetup, Heartbeat
from service.engine import monitor, preflight, soundness
from service.engine.carriers import Carriers
from service.engine.finding import Finding
from service.settings import read_settings
from service.setup import build, load
from service.setup.secrets import secret_names
from service.store.base import Store
from service.wiring import channel_maker
from tests.channels.channel_mail_servers import PASSWORD, MailServer, Postbox
from tests.cli.cli_run import DEMO, bellcheck, environment
from tests.cli.test_cli_service import free_port
from tests.engine.engine_district import district

SECRET = "whsec_" + b64encode(sha256(b"a test").digest()).decode()
KEY = "0123456789abcdef" * 4


@dataclass
class Receiver:
    """Takes webhooks that are signed; its clock is `off` seconds from ours."""

    off: float = 0.0
    secret: str = SECRET
    taken: list[dict[str, str]] = field(default_factory=list)

    def port_of(self) -> int:
        return int(self.server.server_address[1])

    def __enter__(self) -> "Receiver":
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def date_time_string(self, timestamp: float | None = None) -> str:
                return formatdate(time.time() + receiver.off, usegmt=True)

            def log_message(self, *_: object) -> None:
                return

            def do_HEAD(self) -> None:
                self.answer(200)

            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["content-length"]))
                try:
                    receiver.taken.append(Webhook(receiver.secret).verify(body, dict(self.headers)))
                except Exception:
                    self.answer(401)
                else:
                    self.answer(204)

            def answer(self, status: int) -> None:
                self.send_response(status)
                self.send_header("content-length", "0")
                self.end_headers()

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.thread = threading.Thread(target=self.server.serve_forever, daemon=True)
        self.thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.server.shutdown()
        self.server.server_close()
        self.thread.join(10)


def in_service(database: Path, receiver: Receiver, mail: int, port: int) -> dict[str, str]:
    """An environment that holds all that the demonstration folder names."""
    named = dict.fromkeys(secret_names(load(DEMO, {}).documents), f"http://127.0.0.1:{receiver.port_of()}/hook")
    return environment(
        database,
        **{
            **named,
            "BELLCHECK_KEY": KEY,
            "BELLCHECK_BOARD_KEY": "a board key for tests",
            "BELLCHECK_BASE_URL": "https://checks.larkfield.example",
            "BELLCHECK_BIND": f"127.0.0.1:{port}",
            "BELLCHECK_DEMO_CHAT_SECRET": SECRET,
            "BELLCHECK_DEMO_MAIL_HOST": "127.0.0.1",
            "BELLCHECK_DEMO_MAIL_PORT": str(mail),
        },
    )


def found(env: Mapping[str, str], *arguments: str) -> tuple[int, dict[str, dict[str, object]]]:
    ran = bellcheck("preflight", *arguments, "--json", env=env)
    assert ran.err == ""
    return ran.code, {f["what"]: f for f in json.loads(ran.out)}


def test_where_all_is_well_it_says_so_after_a_signed_test_message(tmp_path: Path) -> None:
    with Receiver() as receiver, MailServer(Postbox()) as mail:
        env = in_service(tmp_path / "b.db", receiver, mail.port, free_port())
        assert bellcheck("apply", DEMO, "--yes", env=env).code == 0
        code, findings = found(env, str(DEMO))

    assert [f for f in findings.values() if not f["good"]] == []
    assert code == 0
    assert [m["kind"] for m in receiver.taken if "kind" in m] == ["test"]
    assert len(receiver.taken) == 2
    assert {"pages of the database", "durability", "port", "clock and receivers", "channel mail"} <= set(findings)


def test_what_is_not_well_is_named_with_what_to_do(tmp_path: Path) -> None:
    other = "whsec_" + b64encode(b"x" * 32).decode()
    with Receiver(off=-600, secret=other) as receiver, socket.create_server(("127.0.0.1", 0)) as held:
        env = in_service(tmp_path / "b.db", receiver, free_port(), held.getsockname()[1])
        code, findings = found({**env, "BELLCHECK_KEY": "k" * 40, "BELLCHECK_BOARD_KEY": "short"}, str(DEMO))

    wrong = {what for what, f in findings.items() if not f["good"]}
    tested = {what for what in findings if what.startswith("test message by chat")}
    assert code == 1
    assert receiver.taken == []
    assert wrong >= {"server key", "board key", "database", "port", "clock and receivers", "channel mail", *tested}
    assert len(tested) == 1
    off = int(str(findings["clock and receivers"]["found"]).split()[0])
    assert -660 < off <= -599
    assert all(findings[what]["do"] for what in wrong)


def test_a_test_message_is_left_out_where_that_is_asked_for(tmp_path: Path) -> None:
    with Receiver() as receiver:
        env = in_service(tmp_path / "b.db", receiver, free_port(), free_port())
        _, findings = found(env, str(DEMO), "--no-message")
    assert receiver.taken == []
    assert not [what for what in findings if what.startswith("test message")]


@pytest.mark.parametrize(("password", "good"), [(PASSWORD, True), ("another", False)])
def test_a_mail_server_that_does_not_let_us_in_is_named(password: str, good: bool) -> None:
    async def look(port: int) -> list[Finding]:
        options = {"host": "127.0.0.1", "port": port, "starttls": False, "from": "checks@larkfield.example"}
        signing = {"user": "checks", "password": {"env": "WORD"}}
        mail = ChannelSetup("mail", "email", False, {**options, **signing})
        district = replace(build(load(DEMO, {}).documents), channels={"mail": mail})
        settings = read_settings({"BELLCHECK_KEY": KEY, "WORD": password})
        carriers = Carriers(channel_maker(settings, AddressGuard()))
        return [finding async for finding in preflight.channels(district, carriers)]

    with MailServer(Postbox(), sign_in=True) as server:
        (finding,) = asyncio.run(look(server.port))
    assert finding.good is good
    assert password not in finding.found + finding.do


@pytest.mark.parametrize(("address", "good"), [("{url}", True), ("http://127.0.0.1:1/beat", False), ("beat", False)])
def test_a_monitor_that_the_heartbeat_would_not_reach_is_named(address: str, good: bool) -> None:
    async def look(url: str) -> list[Finding]:
        options = {"url": url, "signing": {"env": "WORD"}, "allow": ["127.0.0.1"]}
        setup = ChannelSetup("heartbeat", "webhook", False, options)
        district = replace(build(load(DEMO, {}).documents), heartbeat=Heartbeat(setup, timedelta(minutes=1)))
        settings = read_settings({"BELLCHECK_KEY": KEY, "WORD": SECRET})
        carriers = Carriers(channel_maker(settings, AddressGuard(), monitor.FIELDS))
        return [finding async for finding in preflight.monitor(district, carriers)]

    with Receiver() as receiver:
        (finding,) = asyncio.run(look(address.format(url=f"http://127.0.0.1:{receiver.port_of()}/beat")))
    assert finding.good is good, finding
    assert finding.do
    assert receiver.taken == []


def test_a_port_where_the_service_itself_answers_is_well() -> None:
    class Health(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.end_headers()
            self.wfile.write(b'{"ok":true,"wrong":[]}')

        def log_message(self, *_: object) -> None:
            return

    with ThreadingHTTPServer(("127.0.0.1", 0), Health) as server:
        thread = threading.Thread(target=server.serve_forever, daemon=True)
        thread.start()
        assert preflight.port("127.0.0.1", server.server_address[1]).good
        server.shutdown()
        thread.join(5)


def by_name(store: Store) -> dict[str, Finding]:
    return {f.what: f for f in soundness.database(store)}


@contextmanager
def opened(address: str) -> Iterator[Store]:
    store = Store(address)
    yield store
    store.close()


def test_a_damaged_file_is_named_before_anybody_relies_on_it(tmp_path: Path) -> None:
    file = tmp_path / "b.db"
    with opened(f"sqlite:///{file}") as store:
        store.upgrade()
    whole = bytearray(file.read_bytes())
    for page in range(4096 * 6, len(whole), 4096 * 2):
        whole[page : page + 100] = b"\xff" * 100
    file.write_bytes(whole)
    with opened(f"sqlite:///{file}") as store:
        findings = by_name(store)
    assert not all(f.good for f in findings.values())


def test_an_empty_database_says_what_to_do_first(tmp_path: Path) -> None:
    with opened(f"sqlite:///{tmp_path / 'b.db'}") as store:
        (finding,) = soundness.database(store)
    assert not finding.good
    assert "bellcheck" in finding.do


@pytest.mark.postgres
def test_a_server_that_acknowledges_too_early_is_named(postgresql_url: str) -> None:
    with opened(postgresql_url) as store:
        assert all(f.good for f in by_name(store).values())
    url = make_url(postgresql_url)
    with psycopg.connect(url.set(drivername="postgresql").render_as_string(False), autocommit=True) as server:
        server.execute(f"ALTER DATABASE {url.database} SET synchronous_commit = off")
    with opened(postgresql_url) as store:
        durability = by_name(store)["durability"]
    assert (durability.good, durability.do) == (False, "set synchronous_commit to on")


@pytest.mark.parametrize(
    ("rate", "good", "wait"), [("5 per second", True, "5 s"), ("5 per minute", False, "300 s")]
)
def test_a_rate_is_held_against_the_fullest_bell_of_the_week(rate: str, good: bool, wait: str) -> None:
    documents = district(rooms=30, children=1)
    documents["channels"]["chat"]["rate"] = rate
    (found,) = preflight.paces(build(documents), date(2026, 10, 3))
    assert (found.what, found.good) == ("rate of chat", good)
    assert found.found == f"{rate}; the last of 30 due at 2026-10-05 08:05 leaves {wait} later"
