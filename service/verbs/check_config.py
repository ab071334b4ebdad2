"""`bellcheck check-config DIR`: every problem at once, each with its place and what would be right."""

from argparse import ArgumentParser, Namespace

from service.setup import Problem
from service.verbs.folders import folder_argument, json_option, loaded, placed
from service.verbs.speaking import CANNOT, DONE, Out


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    folder_argument(parser)
    json_option(parser)


def run(args: Namespace, out: Out) -> int:
    """Check. A folder with errors is bad configuration (exit code 2); warnings alone are none."""
    found = loaded(args.folder)
    problems = [placed(args.folder, problem) for problem in found.problems]
    if args.json:
        out.json([_as_json(problem) for problem in problems])
    else:
        for problem in problems:
            (out.wrong if problem.severity == "error" else out.line)(problem)
        out.line(_summary(len(found.errors), len(found.warnings)))
    return CANNOT if found.errors else DONE


def _as_json(problem: Problem) -> dict[str, object]:
    return {
        "file": problem.file,
        "line": problem.line,
        "severity": problem.severity,
        "wrong": problem.wrong,
        "right": problem.right,
    }


def _summary(errors: int, warnings: int) -> str:
    if not errors and not warnings:
        return "No problems."
    return f"{_count(errors, 'error')}, {_count(warnings, 'warning')}."


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
