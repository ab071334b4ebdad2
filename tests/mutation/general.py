"""Every small change that a general tool can think of, tried on the pure core one at a time.

The tool is mutmut. It comes with much that nothing else needs, so it has an environment of its own, in which the
project's tests can run as well: `python3 -m venv ENV && ENV/bin/pip install -e '.[dev]' mutmut`, and from there
`ENV/bin/python -m tests.mutation core`. What is known to survive, and why, stands in `survivors.toml`.
"""

import re
import subprocess
import sys
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from tests.mutation.defects import ROOT

EXPLAINED = Path(__file__).with_name("survivors.toml")


@dataclass(frozen=True)
class Room:
    """A part of the core, and the tests that should object to a change in it, but for those `beside`, which would
    take long over each change. The first two are glob patterns.
    """

    files: tuple[str, ...]
    tests: tuple[str, ...]
    beside: str = ""


ROOMS: Mapping[str, Room] = {
    "chains": Room(
        ("service/core/chains/*.py",), ("tests/core/test_chains_*.py",), "tests/core/test_chains_table.py"
    ),
    "days": Room(("service/core/days.py", "service/core/zones.py"), ("tests/core/test_days*.py",)),
    "routines": Room(("service/core/routines.py",), ("tests/core/test_routines*.py",)),
    "notices": Room(("service/core/notice*.py",), ("tests/core/test_days*.py",)),
    "checks": Room(("service/core/checks.py",), ("tests/core/test_checks.py",)),
    "replay": Room(("service/core/replay.py",), ("tests/core/test_replay*.py",)),
    "unanswered": Room(
        ("service/core/unanswered.py", "service/core/outlook.py", "service/core/silence.py"),
        ("tests/core/test_unanswered.py",),
    ),
    "devices": Room(("service/core/devices.py",), ("tests/core/test_devices_*.py",)),
    "listening": Room(
        ("service/core/listening/*.py",), ("tests/core/test_listening_*.py", "tests/published/test_run_lengths.py")
    ),
    "sounds": Room(("service/core/sounds.py",), ("tests/core/test_sounds_order.py",)),
}

_NAMED = re.compile(r"^service\.core\.(?P<module>[\w.]+)\.x(?:ǁ(?P<owner>\w+)ǁ|_)(?P<name>\w+)__mutmut_\d+$")
_RESULT = re.compile(r"^\s+(?P<mutant>\S+__mutmut_\d+): (?P<status>.+)$", re.MULTILINE)
_LIVES = {"survived", "no tests", "suspicious"}


@dataclass(frozen=True, order=True)
class Change:
    """What stood in a function, and what stood there instead while no test objected."""

    where: str
    was: str
    becomes: str

    def __str__(self) -> str:
        return f"{self.where}\n  - {self.was}\n  + {self.becomes}"


def prepare(tree: Path, room: Room) -> None:
    """Tell the tool, in a copy of the project, what to change and which tests to run; one seed, so that runs repeat."""
    found = [str(file.relative_to(ROOT)) for pattern in room.tests for file in ROOT.glob(pattern)]
    tests = sorted(file for file in found if file != room.beside)
    also = ["tests", "config_demo", "deploy", "README.md", "DEVELOPERS.md"]
    settings = {
        "source_paths": ["service"],
        "only_mutate": list(room.files),
        "also_copy": also,
        "pytest_add_cli_args_test_selection": tests,
        "timeout_multiplier": 2,
        "timeout_constant": 20,
        "pytest_add_cli_args": ["--hypothesis-seed=1", "-p", "no:cacheprovider"],
    }
    lines = [f"{name} = {value!r}" for name, value in settings.items()]
    whole = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    (tree / "pyproject.toml").write_text("\n".join([whole, "[tool.mutmut]", *lines, ""]), encoding="utf-8")


def survivors(tree: Path, side_by_side: int = 1) -> Iterator[Change]:
    """Try every change in a prepared tree and yield those that no test objected to.

    Raises RuntimeError where the tool is not there or its run breaks off.
    """
    _tool(tree, "run", "--max-children", str(side_by_side))
    for found in _RESULT.finditer(_tool(tree, "results")):
        if found["status"] in _LIVES:
            yield change(found["mutant"], _tool(tree, "show", found["mutant"]))


def change(mutant: str, diff: str) -> Change:
    """A survivor by the function it is in and the lines it changes, which stay when others come and go."""
    named = _NAMED.match(mutant)
    if named is None:
        raise ValueError(f"not a mutant of the core: {mutant}")
    where = ".".join(part for part in (named["module"], named["owner"], named["name"]) if part)
    return Change(where, _lines(diff, "-"), _lines(diff, "+"))


def _lines(diff: str, sign: str) -> str:
    """The lines of one side, the file names apart."""
    shown = [line[1:].strip() for line in diff.splitlines() if line.startswith(sign)]
    return " ".join(line for line in shown if not line.startswith(sign * 2))


def _tool(tree: Path, *said: str) -> str:
    command = [str(Path(sys.executable).with_name("mutmut")), *said]
    try:
        ran = subprocess.run(command, cwd=tree, capture_output=True, text=True, check=False)
    except FileNotFoundError as error:
        raise RuntimeError(f"mutmut is not in this environment. {__doc__}") from error
    if ran.returncode != 0:
        raise RuntimeError(f"mutmut {said[0]} broke off: {ran.stdout[-2000:]}{ran.stderr[-2000:]}")
    return ran.stdout


def explained(file: Path = EXPLAINED) -> dict[Change, str]:
    """The changes that are known to survive, and why each may."""
    reasons = tomllib.loads(file.read_text(encoding="utf-8"))["reason"]
    return {Change(**of): reason["why"] for reason in reasons for of in reason["changes"]}


def unexplained(found: Iterable[Change], known: Mapping[Change, str]) -> list[Change]:
    """Survivors that nobody has explained, in order."""
    return sorted(Counter(c for c in found if c not in known).elements())
