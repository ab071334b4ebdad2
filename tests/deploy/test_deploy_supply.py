"""What the program is made of: the guide's table, the project file and the lock files say the same."""

import re
import tomllib
from importlib.metadata import files, metadata

import pytest

from tests.cli.cli_run import REPOSITORY

GUIDE = (REPOSITORY / "DEVELOPERS.md").read_text()
PROJECT = tomllib.loads((REPOSITORY / "pyproject.toml").read_text())["project"]


def plain(name: str) -> str:
    """A package's name as the index compares it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", re.split(r"[\[<>=!~;, ]", name)[0]).lower()


RUNS = {plain(each) for each in PROJECT["dependencies"]}
TESTS = {plain(each) for each in PROJECT["optional-dependencies"]["dev"]}


def table() -> dict[str, list[str]]:
    """The rows of the guide's table by package."""
    text = GUIDE.partition("## Dependencies, and why")[2]
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in text.splitlines() if line[:2] == "| "]
    return {plain(name): rest for name, *rest in rows[1:] if not name.startswith("-")}


def locked(file: str) -> dict[str, list[str]]:
    """Package to hashes."""
    found: dict[str, list[str]] = {}
    for block in re.split(r"\n(?=\S)", (REPOSITORY / "deploy" / file).read_text()):
        found[plain(block)] = re.findall(r"--hash=sha256:[0-9a-f]{64}", block)
    return found


def test_every_package_has_its_row_with_reason_licence_and_what_we_would_write() -> None:
    rows = table()
    assert set(rows) == RUNS
    assert all(len(cells) == 3 and all(cells) for cells in rows.values())


def test_every_package_of_the_tests_is_named_with_its_purpose() -> None:
    text = GUIDE.partition("For tests and checks alone:")[2]
    assert {name for name in TESTS if name not in text} == set()


@pytest.mark.parametrize(("file", "wanted"), [("lock.txt", RUNS), ("lock-dev.txt", RUNS | TESTS)])
def test_every_package_is_locked_with_its_hashes(file: str, wanted: set[str]) -> None:
    held = locked(file)
    assert wanted - set(held) == set()
    assert [name for name, hashes in held.items() if not hashes] == []


def test_both_lock_files_hold_the_same_versions() -> None:
    def versions(file: str) -> set[str]:
        return set(re.findall(r"^(\S+==\S+)", (REPOSITORY / "deploy" / file).read_text(), re.MULTILINE))

    assert versions("lock.txt") <= versions("lock-dev.txt")


CLAUSES = {"BSD-3-Clause": "Neither the name of"}


@pytest.mark.parametrize("name", sorted(RUNS))
def test_the_licence_is_the_one_that_the_package_itself_names(name: str) -> None:
    told = metadata(name)
    kinds = told.get_all("Classifier") or []
    own = " ".join([told.get("License-Expression") or "", told.get("License") or "", *kinds])
    if "icense" not in own and not told.get("License"):
        # Named by its text alone: each kind has a clause that no other has.
        texts = [str(f.read_text()) for f in files(name) or () if f.name in told.get_all("License-File", [])]
        own += " ".join(kind for kind, clause in CLAUSES.items() if any(clause in text for text in texts))
    said = table()[name][1].split()[0]
    assert said.partition("-")[0].upper() in own.upper()
