"""What verbs on a configuration folder share."""

import os
from argparse import ArgumentParser
from dataclasses import replace
from pathlib import Path

from service.core.district import District
from service.setup import Documents, Loaded, Problem, load
from service.verbs.speaking import CannotRun


def json_option(parser: ArgumentParser) -> None:
    """`--json`, as every verb that prints a table takes."""
    parser.add_argument("--json", action="store_true", help="print JSON for programs")


def folder_argument(parser: ArgumentParser) -> None:
    """The configuration folder."""
    parser.add_argument("folder", metavar="CONFIG", type=Path, help="the configuration folder")


def loaded(folder: Path) -> Loaded:
    """The folder, read and judged against this process's environment."""
    return load(folder, os.environ)


def usable(folder: Path) -> tuple[District, Documents]:
    """A folder without errors. Raises `CannotRun` with every error in it."""
    found = loaded(folder)
    if found.district is None:
        raise CannotRun(*(placed(folder, problem) for problem in found.errors))
    return found.district, found.documents


def placed(folder: Path, problem: Problem) -> Problem:
    """The problem with a path that opens from where the command was run."""
    if problem.file == str(folder) or Path(problem.file).is_absolute():
        return problem
    return replace(problem, file=str(folder / problem.file))
