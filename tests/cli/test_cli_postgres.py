"""The service on PostgreSQL: two instances share one database, and say that they are well."""

import json
import shutil
import subprocess
import time
from pathlib import Path

import pytest

from tests.cli.cli_run import DEMO, bellcheck, environment, here
from tests.cli.test_cli_service import free_port, serving
from tests.store.conftest import database_url, new_name, on_server

pytestmark = pytest.mark.postgres


def test_two_instances_serve_one_database_and_one_may_go(postgresql_url: str) -> None:
    env = {**environment(), "BELLCHECK_DB": postgresql_url}
    assert bellcheck("apply", DEMO, "--yes", env=env).code == 0
    with serving(env, free_port()) as one, serving(env, free_port()) as two:
        one.terminate()
        assert one.wait(timeout=12) == 0
        deadline = time.monotonic() + 5
        while (health := bellcheck("health", env=env)).code and time.monotonic() < deadline:
            time.sleep(0.2)
        assert (health.code, two.poll()) == (0, None)


@pytest.mark.skipif(shutil.which("pg_dump") is None, reason="pg_dump is not installed")
def test_a_dump_that_was_restored_proves_and_is_held(postgresql_url: str, tmp_path: Path) -> None:
    env = {**environment(), "BELLCHECK_DB": postgresql_url}
    assert here("apply", DEMO, "--yes", env=env).code == 0
    plain = postgresql_url.replace("+psycopg", "")
    dump, name = tmp_path / "before.dump", new_name()
    subprocess.run(["pg_dump", "--format=custom", f"--file={dump}", plain], check=True)
    on_server(f"CREATE DATABASE {name} TEMPLATE template0 ENCODING 'UTF8'")
    try:
        restored = database_url(name).render_as_string(hide_password=False)
        into = restored.replace("+psycopg", "")
        subprocess.run(["pg_restore", "--no-owner", "--exit-on-error", f"--dbname={into}", dump], check=True)
        again = {**env, "BELLCHECK_DB": restored}
        assert json.loads(here("verify", "--json", env=again).out) == json.loads(
            here("verify", "--json", env=env).out
        )
        assert here("restore", "--mark", "--by", "c-reed", env=again).code == 0
        assert "held since" in here("health", env=again).out
        assert here("restore", "nothing.db", env=again).code == 2
        assert here("release", "--skip", env=again).code == 0
        assert "held since" not in here("health", env=again).out
    finally:
        on_server(f"DROP DATABASE {name} WITH (FORCE)")


def test_a_backup_on_postgresql_names_the_tool_for_it(postgresql_url: str) -> None:
    ran = bellcheck("backup", "nowhere.db", env={**environment(), "BELLCHECK_DB": postgresql_url})
    assert ran.code == 2
    assert "pg_dump" in ran.err
