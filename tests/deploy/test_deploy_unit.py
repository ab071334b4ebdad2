"""The service manager's unit, judged by the service manager's own tool."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.cli.cli_run import REPOSITORY

UNIT = REPOSITORY / "deploy" / "bellcheck.service"
EXPOSED_AT_MOST = "20"
"""Tenths on the tool's scale from 0 to 10; below 2 it calls a service fine."""


@pytest.fixture
def analyze() -> str:
    found = shutil.which("systemd-analyze")
    if found is None:
        if os.environ.get("BELLCHECK_ALL") == "1":
            pytest.fail("systemd-analyze is not installed, and everything must run")
        pytest.skip("systemd-analyze is not installed")
    return found


def test_the_unit_is_understood_without_a_complaint(analyze: str, tmp_path: Path) -> None:
    unit = tmp_path / UNIT.name
    unit.write_text(UNIT.read_text().replace("/opt/bellcheck/bin/bellcheck serve", "/bin/true"))
    judged = subprocess.run([analyze, "verify", unit], capture_output=True, text=True, timeout=60, check=False)
    assert (judged.returncode, judged.stderr) == (0, "")


def test_the_unit_leaves_the_service_little_to_do_harm_with(analyze: str) -> None:
    asked = [analyze, "security", "--offline=true", f"--threshold={EXPOSED_AT_MOST}", UNIT]
    judged = subprocess.run(asked, capture_output=True, text=True, timeout=60, check=False)
    assert judged.returncode == 0, judged.stdout
