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
"""What a run of the whole suite may take of the processor; a defect that is not caught by then is not caught."""

PATIENCE = 5
"""How many times as long it may take by the clock on the wall: the machine may be busy with other things."""

OBJECTS = frozenset({1, 2, 3, 4})
"""Exit codes of pytest: a check failed, or the tests could not even be loaded. What was cut off says nothing."""

Part = Sequence[str]

WHOLE: tuple[Part, ...] = (
    ("tests/core", "tests/channels/test_channels_signature.py"),
    ("tests/rehearsal",),
    ("tests/store", "-m", "not postgres"),
    ("tests/engine", "-m", "not postgres"),
    ("tests/simulation",),
    ("-m", "postgres", "tests/store", "tests/engine"),
)
"""The parts of the suite, quick ones first."""

BROAD: Part = ("tests/engine/test_engine_day.py", "-m", "not postgres")
"""What touches most of the engine in a few seconds."""

TIMED = (
    "tests/core/test_replies.py::test_two_kilobytes_of_anything_are_read_in_a_few_milliseconds",
    "tests/core/test_routines.py::test_a_hundred_thousand_students_are_planned_in_seconds",
    "tests/engine/test_engine_lanes.py::test_a_stop_cuts_what_hangs_gives_back_what_has_not_begun_and_the_next_start_sends_it",
    "tests/engine/test_engine_waker.py::test_what_arrives_is_read_at_once_when_the_waker_is_told",
)
"""Tests that hold a stopwatch: on a busy machine they object to anything."""

PYTEST = (sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "--tb=no", "-rfE")

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


def parts_for(defect: Defect, tree: Path = ROOT) -> tuple[Part, ...]:
    """The parts of the suite in the order in which they are likely to object to a defect: the tests that it names,
    those of its file, those of its room, and all others.
    """
    near = [(*defect.near, "-m", "not postgres")] if defect.near else []
    _, room, thing, *_ = Path(defect.file).parts
    named = f"tests/{room}/test_{{}}{thing.removesuffix('.py')}*.py"
    own = sorted({str(f.relative_to(tree)) for of in ("", f"{room}_") for f in tree.glob(named.format(of))})
    broad = [BROAD] if room in BROAD[0] else []
    rest = sorted(WHOLE, key=lambda part: part[0] != f"tests/{room}")
    return (*near, *([tuple(own)] if own else []), *broad, *rest)


def is_there(test: str, tree: Path = ROOT) -> bool:
    """Whether a test stands in its file: pytest fails on a name that it does not find as on a check that objects."""
    file, *_, name = test.split("::")
    return (tree / file).exists() and f"def {name}(" in (tree / file).read_text(encoding="utf-8")


def tried(tree: Path, defect: Defect) -> Verdict:
    """Plant a defect, run the suite until something objects, and take the defect out again. Raises ValueError where
    a test that the defect names is not there.
    """
    if gone := [test for test in defect.near if not is_there(test, tree)]:
        raise ValueError(f"{defect.name!r} names tests that are not there: {', '.join(gone)}")
    place = tree / defect.file
    whole = place.read_text(encoding="utf-8")
    place.write_text(defect.planted(whole), encoding="utf-8")
    began = time.monotonic()
    try:
        by = objection(tree, parts_for(defect, tree))
    finally:
        place.write_text(whole, encoding="utf-8")
    return Verdict(defect.name, by, time.monotonic() - began)


def objection(tree: Path, parts: Sequence[Part] = WHOLE) -> str | None:
    """The first check of the suite that fails; None where all hold, or where none failed in time."""
    left = SUITE_SECONDS
    for part in parts:
        found, took = first_failure(tree, part, left)
        left -= took
        if found or left <= 1:
            return found
    return None


def first_failure(tree: Path, part: Part, seconds: float) -> tuple[str | None, float]:
    """Run one part of the suite: the first check that fails, and the seconds of the processor it took. A part that
    does not end in `seconds` of the processor, or stands still for long, has not objected.
    """
    left_out = [word for test in TIMED for word in ("--deselect", test)]
    held = {**os.environ, "PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1"}
    with tempfile.TemporaryFile() as said:
        command = [*_limited(seconds), *PYTEST, *left_out, *part]
        run = subprocess.Popen(command, cwd=tree, env=held, stdout=said, stderr=subprocess.STDOUT)
        _, status, used = os.wait4(run.pid, 0)
        run.returncode = os.waitstatus_to_exitcode(status)
        said.seek(0)
        text = said.read().decode(errors="replace")
    took = used.ru_utime + used.ru_stime
    if run.returncode not in OBJECTS:
        return None, took
    named = _FIRST_FAILURE.search(text)
    return (named.group(1) if named else f"{part[0]} does not even load"), took


def _limited(seconds: float) -> list[str]:
    """What a command begins with that may take so long."""
    wall = str(int(seconds * PATIENCE))
    return ["sh", "-c", 'ulimit -t "$0"; exec "$@"', str(int(seconds)), "timeout", "--foreground", wall]
