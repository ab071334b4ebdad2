"""Moving to another database as whoever keeps the machine does it: stop, move, start again from there."""

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.cli_run import DEMO, bellcheck, environment, here
from tests.cli.test_cli_service import free_port, serving
from tests.store.conftest import database_url, new_name, on_server

pytestmark = pytest.mark.postgres


@pytest.fixture
def old(tmp_path: Path) -> dict[str, str]:
    """The environment of an SQLite service that has run, and is stopped."""
    env = environment(tmp_path / "old.db")
    assert here("apply", DEMO, "--yes", "--by", "c-reed", env=env).code == 0
    with serving(env, free_port()):
        until_well(env)
    return env


def until_well(env: dict[str, str]) -> None:
    deadline = time.monotonic() + 20
    while (ran := here("health", env=env)).code and time.monotonic() < deadline:
        time.sleep(0.2)
    assert ran.code == 0, ran.out


def verified(env: dict[str, str]) -> dict[str, object]:
    ran = here("verify", "--json", env=env)
    assert ran.code == 0, ran.out
    found: dict[str, object] = json.loads(ran.out)
    return found


def test_to_a_server_and_back_by_the_steps_of_the_operations_notes(old: dict[str, str], tmp_path: Path) -> None:
    kept = str(here("verify", "--json", env=old).out)
    name = new_name()
    on_server(f"CREATE DATABASE {name} TEMPLATE template0 ENCODING 'UTF8'")
    try:
        server = database_url(name).render_as_string(hide_password=False)
        ran = bellcheck("move", "--to", server, "--by", "c-reed", env=old)
        assert (ran.code, ran.err) == (0, ""), ran.err
        assert "read back and the same" in ran.out
        new = {**old, "BELLCHECK_DB": server}
        assert verified(new) == verified(old)
        assert verified(new)["entries"] == json.loads(kept)["entries"] + 1
        with serving(new, free_port()):
            until_well(new)

        back = tmp_path / "back.db"
        assert bellcheck("move", "--to", f"sqlite:///{back}", "--json", env=new).code == 0
        assert back.stat().st_mode & 0o077 == 0
        home = {**old, "BELLCHECK_DB": f"sqlite:///{back}"}
        assert verified(home) == verified(new)
        with serving(home, free_port()):
            until_well(home)
    finally:
        on_server(f"DROP DATABASE {name} WITH (FORCE)")


def test_the_database_that_was_moved_is_served_from_only_by_a_word(old: dict[str, str], tmp_path: Path) -> None:
    to = f"sqlite:///{tmp_path / 'new.db'}"
    assert here("move", "--to", to, env=old).code == 0
    for verb in (["serve"], ["apply", DEMO, "--yes"], ["notice", "closed tomorrow", "--school", "hollow-road"]):
        refused = bellcheck(*verb, env={**old, "BELLCHECK_BOARD_KEY": "a board key"})
        assert (refused.code, to in refused.err, "Traceback" in refused.err) == (2, True, False), verb
    assert (health := here("health", env=old)).code == 1
    assert to in health.out
    assert here("verify", env=old).code == 0
    assert here("record", env=old).code == 0

    listed = here("release", "--json", env=old)
    assert (listed.code, to in json.loads(listed.out)["why"]) == (1, True)
    assert here("release", "--skip", "--by", "c-reed", env=old).code == 0
    with serving(old, free_port()):
        until_well(old)


def test_it_does_not_move_from_under_a_service_or_into_what_is_lived_in(
    old: dict[str, str], tmp_path: Path, postgresql_url: str
) -> None:
    to = f"sqlite:///{tmp_path / 'new.db'}"
    with serving(old, free_port()) as process:
        refused = here("move", "--to", to, env=old)
        assert (refused.code, f"number {process.pid}" in refused.err) == (2, True)
    on_server_ = {**old, "BELLCHECK_DB": postgresql_url}
    assert here("apply", DEMO, "--yes", env=on_server_).code == 0
    with serving(on_server_, free_port()):
        refused = here("move", "--to", to, env=on_server_)
        assert (refused.code, "Stop every instance" in refused.err) == (2, True)
    refused = here("move", "--to", postgresql_url, env=old)
    assert (refused.code, "is not empty" in refused.err) == (2, True)
    nowhere = here("move", "--to", to, env={**old, "BELLCHECK_DB": f"sqlite:///{tmp_path / 'none.db'}"})
    assert (nowhere.code, "there is no database" in nowhere.err) == (2, True)
    assert here("move", "--to", "mysql://x/y", env=old).code == 2
    assert here("verify", env=old).code == 0
    assert here("move", "--to", to, env=old).code == 0


def test_a_move_ended_by_force_is_begun_again(old: dict[str, str], tmp_path: Path) -> None:
    to = f"sqlite:///{tmp_path / 'new.db'}"
    before = verified(old)
    ending = (
        "import os, sys; from service.store import moving; from service.cli import main\n"
        "moving._go_on_counting = lambda _: os._exit(9)\n"
        f"main(['move', '--to', {to!r}])"
    )
    ended = subprocess.run([sys.executable, "-c", ending], env=old, capture_output=True, check=False, timeout=60)
    assert ended.returncode == 9
    assert verified(old) == before
    new = {**old, "BELLCHECK_DB": to, "BELLCHECK_BOARD_KEY": "a board key"}
    for verb in ("serve", "verify", "health"):
        refused = bellcheck(verb, env=new)
        assert refused.code != 0
        assert "was broken off" in refused.out + refused.err
    assert here("move", "--to", to, env=old).code == 0
    with serving(new, free_port()):
        until_well(new)
