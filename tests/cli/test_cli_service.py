"""The verbs on a database, and the service as a process: started twice, told to stop, asked how it is."""

import csv
import io
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from urllib.request import urlopen

import pytest

from tests.cli.cli_run import DEMO, bellcheck, environment


@pytest.fixture(scope="module")
def applied(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """An environment whose database has the demo district in force."""
    env = environment(tmp_path_factory.mktemp("applied") / "b.db")
    ran = bellcheck("apply", DEMO, "--yes", "--by", "c-reed", env=env)
    assert ran.code == 0, ran.err
    return env


def free_port() -> int:
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        return int(held.getsockname()[1])


@contextmanager
def serving(env: dict[str, str], port: int) -> Iterator[subprocess.Popen[str]]:
    more = {**env, "BELLCHECK_BIND": f"127.0.0.1:{port}", "BELLCHECK_BOARD_KEY": "a board key"}
    process = subprocess.Popen(
        [sys.executable, "-m", "service", "serve"], env=more, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert process.stdout is not None
        assert "bellcheck serves at" in process.stdout.readline()
        yield process
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGTERM)
        with suppress(subprocess.TimeoutExpired):
            process.communicate(timeout=10)
        process.kill()


def test_applying_shows_what_changes_asks_and_does_nothing_without_a_yes(tmp_path: Path) -> None:
    env = environment(tmp_path / "b.db")
    asked = bellcheck("apply", DEMO, env=env, typed="no\n")
    assert asked.code == 1
    assert "added    schools hollow-road" in asked.out
    assert "Nothing was changed" in asked.out
    assert bellcheck("apply", DEMO, env=env, typed="yes\n").code == 0
    assert "Nothing changes" in bellcheck("apply", DEMO, env=env).out


def test_what_was_applied_is_exported_and_applied_again_without_a_change(
    applied: dict[str, str], tmp_path: Path
) -> None:
    assert bellcheck("export", tmp_path / "out", env=applied).code == 0
    assert bellcheck("check-config", tmp_path / "out", env=applied).code == 0
    assert "Nothing changes" in bellcheck("apply", tmp_path / "out", env=applied).out


def test_a_notice_shows_whom_it_reaches_is_listed_and_withdrawn(applied: dict[str, str]) -> None:
    given = bellcheck(
        "notice",
        "closed tomorrow",
        "--school",
        "hollow-road",
        "--by",
        "c-reed",
        "--yes",
        "--json",
        env=applied,
    )
    notice = json.loads(given.out)
    assert (given.code, notice["given"], notice["reaches"]) == (0, True, ["hollow-road"])
    assert notice["id"] in bellcheck("notice", "list", env=applied).out
    assert bellcheck("notice", "withdraw", notice["id"], env=applied).code == 0
    assert notice["id"] not in bellcheck("notice", "list", env=applied).out
    assert bellcheck("notice", "withdraw", notice["id"], env=applied).code == 2


def test_a_notice_that_cannot_be_read_says_what_would_be_right(applied: dict[str, str]) -> None:
    ran = bellcheck("notice", "cloesd tomorow", "--by", "c-reed", "--yes", env=applied)
    assert ran.code == 2
    assert ";" in ran.err
    assert "Traceback" not in ran.err


@pytest.mark.parametrize("verb", [["record"], ["export", "nowhere-to"], ["notice", "list"]])
def test_before_anything_was_applied_it_says_what_to_do_first(verb: list[str], tmp_path: Path) -> None:
    ran = bellcheck(*verb, env=environment(tmp_path / "b.db"))
    if verb == ["notice", "list"]:
        assert ran.out == "No notices are in force.\n"
    else:
        assert (ran.code, "bellcheck apply DIR" in ran.err) == (2, True)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"BELLCHECK_KEY": ""}, "BELLCHECK_KEY is not set"),
        ({"BELLCHECK_KEY": "short"}, "shorter than 32 bytes"),
        ({"BELLCHECK_BIND": "8420"}, "BELLCHECK_BIND"),
        ({"BELLCHECK_DB": "mysql://nobody"}, "sqlite:///"),
        ({"BELLCHECK_DB": "sqlite:////proc/none/b.db"}, "BELLCHECK_DB"),
        ({"BELLCHECK_SECRETS": "/nowhere/secrets"}, "BELLCHECK_SECRETS"),
        ({}, "BELLCHECK_BOARD_KEY is not set"),
    ],
)
def test_what_the_environment_lacks_is_said_before_anything_starts(
    more: dict[str, str], says: str, applied: dict[str, str]
) -> None:
    ran = bellcheck("serve", env={**applied, **more})
    assert ran.code == 2
    assert says in ran.err
    assert "Traceback" not in ran.err


def test_it_serves_says_that_it_is_well_refuses_a_second_and_stops_when_told(applied: dict[str, str]) -> None:
    port = free_port()
    with serving(applied, port) as process:
        with urlopen(f"http://127.0.0.1:{port}/health", timeout=5) as answer:
            assert answer.status == 200
        second = bellcheck(
            "serve", env={**applied, "BELLCHECK_BIND": "127.0.0.1:0", "BELLCHECK_BOARD_KEY": "a board key"}
        )
        assert second.code == 2
        assert f"number {process.pid}" in second.err
        deadline = time.monotonic() + 5
        while (health := bellcheck("health", env=applied)).code and time.monotonic() < deadline:
            time.sleep(0.2)
        assert (health.code, health.out.startswith("well")) == (0, True)
        began = time.monotonic()
        process.send_signal(signal.SIGTERM)
        assert process.wait(timeout=12) == 0
        assert time.monotonic() - began < 10


def test_a_port_that_is_taken_is_one_plain_line(applied: dict[str, str]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as held:
        bind = f"127.0.0.1:{held.getsockname()[1]}"
        ran = bellcheck(
            "serve", env={**applied, "BELLCHECK_BIND": bind, "BELLCHECK_BOARD_KEY": "a board key"}
        )
    assert ran.code == 2
    assert bind in ran.err
    assert "BELLCHECK_BIND" in ran.err


def test_health_without_a_service_is_a_problem_with_what_to_do(tmp_path: Path) -> None:
    env = environment(tmp_path / "b.db")
    bellcheck("apply", DEMO, "--yes", env=env)
    ran = bellcheck("health", env=env)
    assert ran.code == 1
    assert "start `bellcheck serve`" in ran.out
    assert ran.out.count("\n") == 1


def test_preflight_gives_every_line_that_is_not_well_something_to_do(applied: dict[str, str]) -> None:
    ran = bellcheck("preflight", "--json", env=applied)
    findings = json.loads(ran.out)
    assert ran.code == 1
    whats = {f["what"] for f in findings}
    assert {
        "zone data",
        "server key",
        "board key",
        "database",
        "disk",
        "secret BELLCHECK_DEMO_CHAT_SECRET",
    } <= whats
    assert all(f["do"] for f in findings if not f["good"])
    assert not any(
        os.environ.get("HOME", "/root") + "/" in f["found"] for f in findings if "secret" in f["what"]
    )


def test_a_backup_is_a_whole_database_that_serves_as_well_and_is_never_written_over(
    applied: dict[str, str], tmp_path: Path
) -> None:
    copy = tmp_path / "copy.db"
    assert bellcheck("backup", copy, env=applied).code == 0
    assert bellcheck("backup", copy, env=applied).code == 2
    assert copy.stat().st_mode & 0o077 == 0
    same = bellcheck("apply", DEMO, env={**applied, "BELLCHECK_DB": f"sqlite:///{copy}"})
    assert "Nothing changes" in same.out


def test_verify_proves_every_stream(applied: dict[str, str]) -> None:
    ran = bellcheck("verify", "--json", env=applied)
    proved = json.loads(ran.out)
    assert ran.code == 0
    assert proved["entries"] > 0
    assert (proved["broken"], proved["differences"]) == ([], [])


def test_another_key_does_not_verify(applied: dict[str, str]) -> None:
    assert bellcheck("verify", env={**applied, "BELLCHECK_KEY": "x" * 40}).code == 1


def test_the_record_of_a_planned_day_is_csv_that_spreadsheets_open(applied: dict[str, str]) -> None:
    ran = bellcheck("record", "--csv", "--from", "2020-01-01", env=applied)
    assert ran.code == 0
    rows = list(csv.reader(io.StringIO(ran.out)))
    assert rows[0][:3] == ["date", "school", "student"]


def test_a_record_from_later_to_earlier_is_refused(applied: dict[str, str]) -> None:
    ran = bellcheck("record", "--from", "2026-02-01", "--to", "2026-01-01", env=applied)
    assert ran.code == 2
    assert "earlier date first" in ran.err
