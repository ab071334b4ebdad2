"""What the documents tell people to type exists: verbs, options and places, environment names and files."""

import re
import shlex
from argparse import ArgumentParser
from collections.abc import Iterator
from importlib import import_module

import pytest

from service.cli import VERBS
from tests.cli.cli_run import REPOSITORY

DOCUMENTS = ["README.md", "DEVELOPERS.md", "deploy/operations.md", "deploy/compose.yaml", "deploy/Containerfile"]
STANDS_FOR = {"D": "2026-10-05", "DATE": "2026-10-05", "SCHOOL": "hollow-road", "FILE": "a.file", "DIR": "a-folder"}


def code(text: str) -> Iterator[str]:
    """What stands between marks of code, and the lines of blocks."""
    for block in re.findall(r"```\w*\n(.*?)```", text, re.DOTALL):
        yield from block.splitlines()
    yield from re.findall(r"`([^`\n]+)`", re.sub(r"```.*?```", "", text, flags=re.DOTALL))


def commands() -> list[tuple[str, str]]:
    """Each command of ours with the document it stands in."""
    found = []
    for name in DOCUMENTS:
        text = (REPOSITORY / name).read_text()
        lines = list(code(text)) + re.findall(r"run --rm service (.*)", text)
        for line in lines:
            for part in re.split(r"&&|\|\|?|;", line):
                said = re.sub(r"^(\S*/)?bellcheck\s+|^python -m service\s+", "", part.strip())
                if said != part.strip() or part.strip() in re.findall(r"run --rm service (.*)", text):
                    found.append((name, said))
    return sorted(set(found))


def options(parser: ArgumentParser) -> Iterator[str]:
    """Every option of a verb and of what stands below it."""
    for action in parser._actions:
        yield from action.option_strings
        for below in action.choices.values() if isinstance(action.choices, dict) else ():
            yield from options(below)


COMMANDS = [(document, line) for document, line in commands() if line.split() and line.split()[0] != "VERB"]


@pytest.mark.parametrize(("document", "line"), COMMANDS, ids=[line for _, line in COMMANDS])
def test_a_command_is_understood_by_the_verb_it_names(document: str, line: str) -> None:
    verb, *rest = shlex.split(re.split(r"[#>]", line)[0].replace("…", "x"))
    assert verb in VERBS, f"{document}: {line}"
    body = import_module(f"service.verbs.{VERBS[verb][0]}")
    parser = ArgumentParser(prog=verb, exit_on_error=False)
    body.arguments(parser)
    known = set(options(parser))
    assert {word.partition("=")[0] for word in rest if word.startswith("--")} <= known
    if any(word for word in rest if not word.startswith("--")):
        parser.parse_args([STANDS_FOR.get(word, word) for word in rest])


def test_every_verb_that_keeps_the_service_going_is_in_the_operations_notes() -> None:
    said = {line.split()[0] for document, line in COMMANDS if document.endswith("operations.md")}
    assert {"check-config", "apply", "preflight", "health", "backup", "verify", "day"} <= said


def test_every_environment_name_of_the_settings_is_explained_and_no_other() -> None:
    source = (REPOSITORY / "service" / "settings.py").read_text()
    told = (REPOSITORY / "deploy" / "operations.md").read_text()
    used = set(re.findall(r"BELLCHECK_[A-Z_]+", source))
    rows = set(re.findall(r"^\| `(BELLCHECK_[A-Z_]+)`", told.partition("## Install")[0], re.MULTILINE))
    assert rows == used


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md", "deploy/operations.md"])
def test_every_file_that_a_document_names_is_there(document: str) -> None:
    text = (REPOSITORY / document).read_text()
    named = set(re.findall(r"\b(?:deploy|tests|service|config_demo)/[\w./-]*\w", text))
    assert {n for n in named if "000N" not in n and not (REPOSITORY / n).exists() and "/…" not in n} == set()


def test_the_container_installs_as_the_notes_say() -> None:
    built = (REPOSITORY / "deploy" / "Containerfile").read_text()
    told = (REPOSITORY / "deploy" / "operations.md").read_text()
    for step in (r"--require-hashes -r deploy/lock\.txt", r"--no-deps --no-build-isolation \."):
        assert re.search(step, built), step
        assert re.search(step, told), step
