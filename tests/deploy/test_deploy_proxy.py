"""The sample for the proxy, run as it stands (places and ports apart) in front of a real service."""

import os
import re
import shutil
import ssl
import subprocess
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest
from standardwebhooks import Webhook

from service.engine import doors
from service.settings import read_settings
from service.setup import load
from service.setup.secrets import secret_names
from service.wiring import open_desk
from tests.channels.channel_receivers import Authority
from tests.cli.cli_run import DEMO, REPOSITORY, bellcheck, environment
from tests.cli.test_cli_service import free_port, serving

NAME = "checks.school.example"
SECRET = "whsec_" + "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"


@dataclass
class Front:
    """The service behind the proxy; `folder` holds what the proxy logged."""

    folder: Path
    https: int
    http: int
    tls: ssl.SSLContext
    settings: dict[str, str]

    def client(self, address: str = "127.0.0.1") -> httpx.Client:
        """Asks by the public name from an address of this machine, whichever port the test has."""
        headers = {"host": NAME, "accept": "text/html"}
        way = httpx.HTTPTransport(verify=self.tls, local_address=address)
        return httpx.Client(base_url=f"https://127.0.0.1:{self.https}", transport=way, headers=headers, timeout=30)

    def standing(self, person: str) -> str:
        desk = open_desk(read_settings(self.settings))
        try:
            with desk.glance() as m:
                return doors.standing_path(m, person)
        finally:
            desk.store.close()

    def logged(self) -> str:
        return (self.folder / "bellcheck.log").read_text()


def sample(folder: Path, https: int, http: int, behind: int) -> Path:
    """The sample with places and ports of this test, inside the frame that a machine's own settings give."""
    text = (REPOSITORY / "deploy" / "proxy.conf").read_text()
    text = re.sub(r"^ *listen \[::\].*\n", "", text, flags=re.MULTILINE)
    changed = {
        "/etc/ssl/checks.pem": f"{folder}/server.pem",
        "/etc/ssl/checks.key": f"{folder}/server.key",
        "/var/log/nginx": str(folder),
        "listen 443 ssl": f"listen 127.0.0.1:{https} ssl",
        "listen 80": f"listen 127.0.0.1:{http}",
        "127.0.0.1:8420": f"127.0.0.1:{behind}",
    }
    for old, new in changed.items():
        assert old in text
        text = text.replace(old, new)
    temporary = "".join(
        f"{kind}_temp_path {folder}/{kind};" for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    # The workers of a server that root starts run as somebody else, who may not write into a test's folder.
    user = "user root;" if os.geteuid() == 0 else ""
    whole = folder / "nginx.conf"
    whole.write_text(
        f"{user} daemon off; worker_processes 1; pid {folder}/pid; error_log {folder}/main.log;"
        f"events {{}} http {{ {temporary} {text} }}"
    )
    return whole


@pytest.fixture(scope="module")
def front(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Front]:
    nginx = shutil.which("nginx", path=os.environ.get("PATH", "") + ":/usr/sbin")
    if nginx is None:
        if os.environ.get("BELLCHECK_ALL") == "1":
            pytest.fail("nginx is not installed, and everything must run")
        pytest.skip("nginx is not installed")
    folder = tmp_path_factory.mktemp("front")
    folder.chmod(0o755)
    authority = Authority.make(folder, NAME)
    https, http, behind = free_port(), free_port(), free_port()
    named = dict.fromkeys(secret_names(load(DEMO, {}).documents), "127.0.0.1:9")
    env = {
        **environment(folder / "b.db", **named),
        "BELLCHECK_DEMO_CHAT_SECRET": SECRET,
        "BELLCHECK_DEMO_L_TEAL": "teal-on-chat",
        "BELLCHECK_BASE_URL": f"https://{NAME}",
    }
    assert bellcheck("apply", DEMO, "--yes", env=env).code == 0
    conf = sample(folder, https, http, behind)
    with serving(env, behind), subprocess.Popen([nginx, "-c", conf, "-p", folder], stderr=subprocess.DEVNULL) as proxy:
        tls = authority.trusting()
        tls.check_hostname = False
        made = Front(folder, https, http, tls, env)
        try:
            _wait(made)
            yield made
        finally:
            proxy.terminate()


def _wait(front: Front) -> None:
    end = time.monotonic() + 15
    while time.monotonic() < end:
        try:
            with front.client() as client:
                if client.get("/health").status_code == 200:
                    return
        except httpx.TransportError:
            time.sleep(0.05)
    pytest.fail("the proxy does not answer")


def test_a_link_works_and_stands_in_no_log(front: Front) -> None:
    path = front.standing("l-teal")
    with front.client() as client:
        shown = client.get(path)
        style = client.get("/static/look.css")
    assert (shown.status_code, style.status_code) == (200, 200)
    assert path.rpartition("/")[2] not in front.logged()
    assert "l-teal" not in front.logged()
    assert "GET /s/..." in front.logged()


def test_a_press_from_the_page_is_taken_and_the_board_opens_with_a_cookie_for_tls_alone(front: Front) -> None:
    with front.client() as client:
        own = {"origin": f"https://{NAME}", "sec-fetch-site": "same-origin"}
        opened = client.post("/board/key", data={"key": "a board key"}, headers=own)
        held = opened.headers["set-cookie"]
        shown = client.get("/board", headers={"cookie": held.partition(";")[0]})
        elsewhere = client.post("/board/key", data={"key": "x"}, headers={"origin": "https://elsewhere.example"})
    assert opened.status_code == 303
    assert held.startswith("__Host-board=")
    assert "Secure" in held
    assert "Hollow Road" in shown.text
    assert elsewhere.status_code == 403


def test_a_signed_message_arrives_as_it_was_signed(front: Front) -> None:
    body = '{"from": "teal-on-chat",   "text": "ok \\u2713 ünicode"}'
    now = datetime.now(UTC)
    headers = {
        "webhook-id": "msg_front", "webhook-timestamp": str(int(now.timestamp())),
        "webhook-signature": Webhook(SECRET).sign("msg_front", now, body),
    }  # fmt: skip
    with front.client() as client:
        taken = client.post("/in/chat", content=body.encode(), headers=headers)
        long = client.post("/in/chat", content=b"x" * 1_000_000, headers=headers)
        forged = client.post("/in/chat", content=body.replace("ok", "no").encode(), headers=headers)
    assert taken.status_code == 202
    assert (long.status_code, forged.status_code) == (401, 401)


def test_what_is_too_long_is_refused_as_a_problem_before_it_reaches_the_service(front: Front) -> None:
    with front.client() as client:
        refused = client.post("/board/key", content=b"key=" + b"x" * 200_000)
        figures = client.get("/metrics")
    assert refused.status_code == 413
    assert refused.headers["content-type"] == "application/problem+json"
    assert refused.json()["status"] == 413
    assert figures.status_code == 404


def test_each_ones_own_address_is_counted_and_what_they_say_of_it_is_not_believed(front: Front) -> None:
    with front.client("127.0.0.3") as client:
        answers = [
            client.post("/board/key", data={"key": "wrong"}, headers={"x-forwarded-for": f"203.0.113.{n}"}).status_code
            for n in range(12)
        ]
    with front.client("127.0.0.4") as neighbour:
        theirs = neighbour.post("/board/key", data={"key": "wrong"}).status_code
    assert (answers[0], answers[-1], theirs) == (403, 429, 403)


def test_without_tls_one_is_sent_to_the_address_with_it(front: Front) -> None:
    answer = httpx.get(f"http://127.0.0.1:{front.http}/board", headers={"host": NAME})
    assert (answer.status_code, answer.headers["location"]) == (301, f"https://{NAME}/board")


def test_while_the_service_is_away_the_proxy_answers_with_a_problem_as_well(front: Front, tmp_path: Path) -> None:
    https, http = free_port(), free_port()
    for name in ("server.pem", "server.key"):
        shutil.copy(front.folder / name, tmp_path)
    conf = sample(tmp_path, https, http, free_port())
    nginx = shutil.which("nginx", path=os.environ.get("PATH", "") + ":/usr/sbin") or ""
    with subprocess.Popen([nginx, "-c", conf, "-p", tmp_path], stderr=subprocess.DEVNULL) as proxy:
        alone = Front(tmp_path, https, http, front.tls, {})
        try:
            end = time.monotonic() + 15
            answer = None
            while answer is None and time.monotonic() < end:
                try:
                    with alone.client() as client:
                        answer = client.get("/board")
                except httpx.TransportError:
                    time.sleep(0.05)
        finally:
            proxy.terminate()
    assert answer is not None
    assert answer.status_code == 502
    assert answer.headers["content-type"] == "application/problem+json"
    assert int(answer.headers["retry-after"]) > 0
