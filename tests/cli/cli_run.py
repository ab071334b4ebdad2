"""The command line in a process of its own, as people and service managers start it."""

import os
import subprocess
import sys
from collections.abc import Mapping
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from unittest.mock import patch

from service.cli import main

REPOSITORY = Path(__file__).parents[2]
DEMO = REPOSITORY / "config_demo"
KEY = "k" * 40


@dataclass(frozen=True)
class Ran:
    """What came of a run."""

    code: int
    out: str
    err: str


def environment(database: Path | None = None, **more: str) -> dict[str, str]:
    """A clean environment with a server key, and a database where one is given."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("BELLCHECK_")}
    held = {"BELLCHECK_DB": f"sqlite:///{database}"} if database else {}
    return {**kept, "BELLCHECK_KEY": KEY, "PYTHONPATH": str(REPOSITORY), **held, **more}


def here(*arguments: object, env: Mapping[str, str]) -> Ran:
    """Run a verb within this process, which spares its start; for verbs that end by themselves."""
    out, err = StringIO(), StringIO()
    with patch.dict(os.environ, env, clear=True), redirect_stdout(out), redirect_stderr(err):
        code = main([str(argument) for argument in arguments])
    return Ran(code, out.getvalue(), err.getvalue())


def bellcheck(*arguments: object, env: Mapping[str, str] | None = None, typed: str = "") -> Ran:
    """Run a verb and wait for it."""
    done = subprocess.run(
        [sys.executable, "-m", "service", *map(str, arguments)],
        env=dict(env or environment()),
        input=typed,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    return Ran(done.returncode, done.stdout, done.stderr)
