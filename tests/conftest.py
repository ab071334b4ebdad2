"""What several rooms' tests share: no test fails for being slow, and one browser for the whole run, since its driver
can be started once a process.
"""

import os
import shutil
from collections.abc import Iterator

import pytest
from hypothesis import settings

settings.register_profile("ours", deadline=None)
settings.load_profile("ours")

CHROMIUM = (
    os.environ.get("BELLCHECK_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
)
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--disable-background-networking"]


@pytest.fixture(scope="session")
def browser() -> Iterator[object]:
    """Chromium."""
    if CHROMIUM is None:
        if os.environ.get("BELLCHECK_ALL") == "1":
            pytest.fail("Chromium is not installed, and everything must run")
        pytest.skip("Chromium is not installed")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as running:
        made = running.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield made
        made.close()
