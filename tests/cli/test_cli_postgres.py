"""The service on PostgreSQL: two instances share one database, and say that they are well."""

import time

import pytest

from tests.cli.cli_run import DEMO, bellcheck, environment
from tests.cli.test_cli_service import free_port, serving

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


def test_a_backup_on_postgresql_names_the_tool_for_it(postgresql_url: str) -> None:
    ran = bellcheck("backup", "nowhere.db", env={**environment(), "BELLCHECK_DB": postgresql_url})
    assert ran.code == 2
    assert "pg_dump" in ran.err
