"""Backup, restore and release as whoever keeps the machine does them: beside a service that runs, and after it."""

import json
import os
import sqlite3
import time
from pathlib import Path
from threading import Event, Thread
from urllib.error import HTTPError
from urllib.request import urlopen

import pytest

from tests.cli.cli_run import DEMO, environment
from tests.cli.cli_run import here as bellcheck
from tests.cli.test_cli_service import free_port, serving


@pytest.fixture
def env(tmp_path: Path) -> dict[str, str]:
    """The environment of a service with the demonstration district in force."""
    made = environment(tmp_path / "b.db")
    assert bellcheck("apply", DEMO, "--yes", "--by", "c-reed", env=made).code == 0
    return made


def head(env: dict[str, str]) -> str:
    ran = bellcheck("verify", "--json", env=env)
    assert ran.code == 0
    found: str = json.loads(ran.out)["head"]
    return found


def answers(url: str) -> tuple[int, dict[str, object]]:
    try:
        with urlopen(url, timeout=5) as answer:
            return answer.status, json.load(answer)
    except HTTPError as error:
        return error.code, json.load(error)


def test_a_backup_says_where_its_journal_stands(env: dict[str, str], tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    ran = bellcheck("backup", copy, env=env)
    assert ran.code == 0
    beside = json.loads((tmp_path / "copy.db.head").read_text())
    assert beside["head"] in ran.out
    copied = {**env, "BELLCHECK_DB": f"sqlite:///{copy}"}
    assert head(env) == head(copied)
    for place in (env, copied):
        stands = bellcheck("verify", "--head", beside["head"], env=place)
        assert (stands.code, "still stands" in stands.out) == (0, True)
    assert json.loads(bellcheck("verify", "--json", env=copied).out)["kept"] == beside["head"]


def test_a_backup_is_made_also_where_no_head_can_be(env: dict[str, str], tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "b.db") as connection:
        connection.execute("UPDATE alembic_version SET version_num = '0001'")
    connection.close()
    ran = bellcheck("backup", tmp_path / "copy.db", env=env)
    assert (ran.code, (tmp_path / "copy.db").is_file()) == (0, True)
    assert "No new head could be made" in ran.out
    assert not (tmp_path / "copy.db.head").exists()


def test_a_backup_beside_a_busy_writer_is_whole(env: dict[str, str], tmp_path: Path) -> None:
    stop, written = Event(), []

    def write() -> None:
        with sqlite3.connect(tmp_path / "b.db", timeout=10) as connection:
            while not stop.is_set():
                connection.execute(
                    "INSERT INTO service_marks (key, at, body) VALUES (?, NULL, ?)",
                    (f"filler/{len(written):06}", json.dumps({"words": "x" * 2000})),
                )
                connection.commit()
                written.append(len(written))
        connection.close()

    writer = Thread(target=write)
    writer.start()
    try:
        codes = [bellcheck("backup", tmp_path / f"copy{n}.db", env=env).code for n in range(3)]
    finally:
        stop.set()
        writer.join()
    assert codes == [0, 0, 0]
    for n in range(3):
        with sqlite3.connect(tmp_path / f"copy{n}.db") as copy:
            keys = [key for (key,) in copy.execute("SELECT key FROM service_marks WHERE key LIKE 'filler%'")]
            assert copy.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        copy.close()
        assert sorted(keys) == [f"filler/{k:06}" for k in range(len(keys))]
    assert written


def test_a_restored_service_starts_held_says_so_everywhere_and_goes_on_by_a_word(
    env: dict[str, str], tmp_path: Path
) -> None:
    assert bellcheck("backup", tmp_path / "copy.db", env=env).code == 0
    before = head(env)
    bellcheck("notice", "closed tomorrow", "--school", "hollow-road", "--by", "c-reed", "--yes", env=env)
    assert bellcheck("restore", tmp_path / "copy.db", env=env).code == 1
    ran = bellcheck("restore", tmp_path / "copy.db", "--yes", "--by", "c-reed", env=env)
    assert ran.code == 0, ran.err
    assert "All that head 1 of copy.db.head covers is in it." in ran.out
    aside = next(tmp_path.glob("b.db.replaced-*"))
    assert head({**env, "BELLCHECK_DB": f"sqlite:///{aside}"}) != before
    assert "No notices" in bellcheck("notice", "list", env=env).out

    port = free_port()
    with serving(env, port):
        code, ready = answers(f"http://127.0.0.1:{port}/ready")
        assert code == 503
        assert "bellcheck release" in str(ready["wrong"])
        ran = bellcheck("health", env=env)
        assert (ran.code, "held since" in ran.out) == (1, True)
        listed = bellcheck("release", "--json", env=env)
        assert (listed.code, json.loads(listed.out)["held"]) == (1, True)
        assert bellcheck("release", "--send", "--by", "c-reed", env=env).code == 0
        deadline = time.monotonic() + 10
        while answers(f"http://127.0.0.1:{port}/ready")[0] != 200 and time.monotonic() < deadline:
            time.sleep(0.2)
        assert answers(f"http://127.0.0.1:{port}/ready")[0] == 200
    assert "not held" in bellcheck("release", env=env).out
    assert bellcheck("verify", env=env).code == 0
    with serving(env, free_port()):
        assert "held" not in bellcheck("health", env=env).out


def test_nothing_is_restored_under_a_service_that_runs(env: dict[str, str], tmp_path: Path) -> None:
    bellcheck("backup", tmp_path / "copy.db", env=env)
    with serving(env, free_port()) as process:
        ran = bellcheck("restore", tmp_path / "copy.db", "--yes", env=env)
        assert ran.code == 2
        assert f"number {process.pid}" in ran.err
    assert not list(tmp_path.glob("b.db.restored*"))


def test_a_backup_that_does_not_prove_is_not_put_in_place(env: dict[str, str], tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    bellcheck("backup", copy, env=env)
    bellcheck("notice", "closed tomorrow", "--school", "hollow-road", "--by", "c-reed", "--yes", env=env)
    bellcheck("backup", tmp_path / "later.db", env=env)
    before = head(env)

    other_key = bellcheck("restore", copy, "--yes", env={**env, "BELLCHECK_KEY": "x" * 40})
    assert (other_key.code, "BELLCHECK_KEY" in other_key.err) == (2, True)
    later_head = (tmp_path / "later.db.head").read_text()
    for other in (later_head, later_head.replace('"head": "2-', '"head": "1-')):
        (tmp_path / "copy.db.head").write_text(other)
        mixed = bellcheck("restore", copy, "--yes", env=env)
        assert (mixed.code, "belong together" in mixed.err) == (2, True)
    (tmp_path / "copy.db.head").write_text("[]")
    assert bellcheck("restore", copy, "--yes", env=env).code == 2
    (tmp_path / "copy.db.head").unlink()
    with copy.open("r+b") as file:
        file.seek(os.path.getsize(copy) // 2)
        file.write(b"\0" * 8192)
    broken = bellcheck("restore", copy, "--yes", env=env)
    assert (broken.code, "Traceback" in broken.err) == (2, False)
    assert bellcheck("restore", tmp_path / "none.db", "--yes", env=env).code == 2
    assert bellcheck("restore", env=env).code == 2

    assert head(env) == before
    assert not list(tmp_path.glob("b.db.re*"))


def test_a_copy_served_from_by_hand_starts_held(env: dict[str, str], tmp_path: Path) -> None:
    with serving(env, free_port()):
        deadline = time.monotonic() + 10
        while bellcheck("health", env=env).code and time.monotonic() < deadline:
            time.sleep(0.2)
    bellcheck("backup", tmp_path / "copy.db", env=env)
    copied = {**env, "BELLCHECK_DB": f"sqlite:///{tmp_path / 'copy.db'}"}
    with serving(copied, free_port()):
        assert "held since" in bellcheck("health", env=copied).out
