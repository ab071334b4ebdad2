"""Mails of others, kept beside the repository: where they lie, and what their writers wrote themselves."""

import os
from pathlib import Path

import pytest

SHARED = Path(os.environ.get("BELLCHECK_SHARED", Path(__file__).parents[2].parent / "shared"))
MAILS = SHARED / "data" / "email"


def mail(name: str) -> bytes:
    """A file of the collection; skips the test where the collection is not there."""
    path = MAILS / name
    if not path.exists():
        pytest.skip(f"BELLCHECK_SHARED has no data/email/{name}")
    return path.read_bytes()
