"""Each verb imports what it needs: a planned day is read without a web server, and most without a database."""

import subprocess
import sys

import pytest

from service.cli import VERBS
from tests.cli.cli_run import environment

WEB = {"fastapi", "starlette", "uvicorn", "anyio", "python_multipart", "httpx"}
DATABASE = {"sqlalchemy", "sqlmodel", "alembic", "psycopg", "apscheduler"}
SERVING = {"serve", "try"}
WITHOUT_DATABASE = ("new", "check-config", "students", "day", "read-reply", "version")


def imported(verbs: list[str]) -> set[str]:
    """The packages that are loaded once the modules of these verbs are."""
    lines = [f"import service.verbs.{VERBS[verb][0]}" for verb in verbs]
    program = "\n".join(["import sys", *lines, "print(*{name.split('.')[0] for name in sys.modules})"])
    done = subprocess.run(
        [sys.executable, "-c", program], env=environment(), check=True, capture_output=True, text=True
    )
    return set(done.stdout.split())


@pytest.mark.parametrize(
    ("verbs", "without"),
    [(sorted(set(VERBS) - SERVING), WEB), (list(WITHOUT_DATABASE), WEB | DATABASE)],
    ids=["no web framework but to serve", "no database but for what is stored"],
)
def test_verbs_import_nothing_that_they_do_not_use(verbs: list[str], without: set[str]) -> None:
    assert imported(verbs) & without == set()


def test_serving_does_import_a_web_framework() -> None:
    assert imported(["serve"]) >= {"fastapi", "uvicorn", "sqlalchemy"}
