"""Runs the suite against a copy of the tree and says which check was the first to object."""

import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.mutation.defects import ROOT, Defect

SUITE_SECONDS = 180.0
"""What a run of the whole suite may take; a defect that is not caught by then is not caught."""

PARTS = (
    ("tests/core", "tests/channels/test_channels_signature.py"),
    ("tests/store", "tests/engine"),
    ("tests/rehearsal", "tests/simulation"),
)
"""Quick ones first: most faults of people show in a second or two."""

_FIRST_FAILURE = re.compile(r"^(?:FAILED|ERROR) (\S+)", re.MULTILINE)


@dataclass(frozen=True)
class Verdict:
    """How a defect fared: `by` is the first check that objected, None where nothing did; `seconds` real time."""

    name: str
    by: str | None
    seconds: float


@contextmanager
def copied_tree() -> Iterator[Path]:
    """A copy of everything the tests need, in which files may be spoiled."""
    with tempfile.TemporaryDirectory() as folder:
        for part in ("service", "tests", "config_demo", "deploy"):
            leave = shutil.ignore_patterns("__pycache__", ".*")
            shutil.copytree(ROOT / part, Path(folder) / part, ignore=leave)
        for file in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
            shutil.copy(ROOT / file, folder)
        yield Path(folder)


def tried(tree: Path, defect: Defect, parts: Sequence[Sequence[str]] = PARTS) -> Verdict:
    """Plant a defect, run the suite until something objects, and take the defect out again."""
    place = tree / defect.file
    whole = place.read_text(encoding="utf-8")
    place.write_text(defect.planted(whole), encoding="utf-8")
    began = time.monotonic()
    try:
        by = objection(tree, parts)
    finally:
        place.write_text(whole, encoding="utf-8")
    return Verdict(defect.name, by, time.monotonic() - began)


def objection(tree: Path, parts: Sequence[Sequence[str]] = PARTS) -> str | None:
    """The first check of the suite that fails; None where all hold, or where none failed in time."""
    until = time.monotonic() + SUITE_SECONDS
    for part in parts:
        left = until - time.monotonic()
        if left <= 0:
            return None
        found = first_failure(tree, part, left)
        if found:
            return found
    return None


def first_failure(tree: Path, part: Sequence[str], seconds: float) -> str | None:
    """Run one part of the suite; a part that does not end in time has not objected."""
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "--tb=no", "-rfE", *part]
    held = {**os.environ, "PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        ran = subprocess.run(command, cwd=tree, env=held, capture_output=True, text=True, timeout=seconds, check=False)
    except subprocess.TimeoutExpired:
        return None
    if ran.returncode == 0:
        return None
    named = _FIRST_FAILURE.search(ran.stdout)
    return named.group(1) if named else f"{part[0]} does not even load"
