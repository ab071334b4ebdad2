"""Folders that the users of mail servers may enter: those of pytest are the caller's alone."""

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest


@pytest.fixture(scope="module")
def open_folder() -> Iterator[Path]:
    """A folder that others may enter, gone afterwards."""
    with tempfile.TemporaryDirectory(prefix="mail-", dir="/tmp", ignore_cleanup_errors=True) as made:
        Path(made).chmod(0o755)
        yield Path(made)
