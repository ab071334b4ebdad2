"""`bellcheck students`: `out DIR` writes the folder's students as CSV, `in DIR FILE` takes them from one."""

from argparse import ArgumentParser, Namespace
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from service.core.district import District
from service.setup import Documents, Problem, export
from service.setup.sheet import SheetResult, read_sheet, write_sheet
from service.setup.tree import Table, read_tree
from service.verbs.folders import json_option, usable
from service.verbs.speaking import CANNOT, DONE, PROBLEMS, CannotRun, Out

LARGEST = 5_000_000
KEPT = ".before"
"""The old file keeps its words under this ending, which the folder's readers pass over."""


def arguments(parser: ArgumentParser) -> None:
    """What the verb takes."""
    ways = parser.add_subparsers(dest="way", required=True, metavar="out|in")
    out = ways.add_parser("out", help="write the students as CSV to standard output")
    out.add_argument("folder", metavar="CONFIG", type=Path, help="the configuration folder")
    into = ways.add_parser("in", help="take students from a CSV file into the folder")
    into.add_argument("folder", metavar="CONFIG", type=Path, help="the configuration folder")
    into.add_argument("file", metavar="FILE", type=Path, help="the sheet")
    into.add_argument("--preview", action="store_true", help="only show what it would do")
    into.add_argument("--yes", action="store_true", help="do it without asking")
    json_option(into)


def run(args: Namespace, out: Out) -> int:
    """Out or in."""
    district, documents = usable(args.folder)
    if args.way == "out":
        out.raw(write_sheet(documents).replace("\r\n", "\n"))
        return DONE
    return _take(args, district, documents, out)


def _take(args: Namespace, district: District, documents: Documents, out: Out) -> int:
    result = read_sheet(_text(args.file), district)
    problems = [_placed(args.file, problem) for problem in result.problems]
    if args.json:
        rows = [{"row": r.row, "student": r.student, "effect": r.effect} for r in result.rows]
        changes = [{"id": c.id, "kind": c.kind} for c in result.changes]
        out.json({"rows": rows, "changes": changes, "problems": [str(p) for p in problems]})
    else:
        _show(result, out)
        for problem in problems:
            out.wrong(problem)
    if any(problem.severity == "error" for problem in problems):
        return PROBLEMS if args.preview else CANNOT
    if args.preview or not result.changes:
        return DONE
    if not args.yes and (args.json or not out.asks("Write these students into the folder?")):
        out.wrong("Nothing was changed. Use --yes to do it without being asked.")
        return PROBLEMS
    written = _write(args.folder, {**documents.get("students", {}), **result.documents["students"]})
    if not args.json:
        out.lines(f"wrote {path}" for path in written)
        out.line(f"Next: `bellcheck check-config {args.folder}`, then `bellcheck apply {args.folder}`.")
    return DONE


def _show(result: SheetResult, out: Out) -> None:
    for change in result.changes:
        out.line(f"{change.kind:<8} {change.id}")
        if change.kind == "changed":
            out.lines(f"           {field}" for field in change.fields)
    same = sum(1 for row in result.rows if row.effect == "same")
    changes = len(result.changes)
    students = "1 student changes" if changes == 1 else f"{changes} students change"
    out.line(f"{students}, {same} {'stays as it is' if same == 1 else 'stay as they are'}.")


def _text(path: Path) -> str:
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise CannotRun(f"{path}:1: cannot be read ({error.strerror}); give the path of the sheet") from None
    if len(raw) > LARGEST:
        raise CannotRun(f"{path}:1: is larger than 5 MB; a row for each routine of each student is enough")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise CannotRun(f"{path}:{line}: is not UTF-8 text; save the sheet as CSV UTF-8") from None


def _placed(path: Path, problem: Problem) -> Problem:
    return Problem(str(path), problem.line, problem.severity, problem.wrong, problem.right)


def _write(folder: Path, students: dict[str, object]) -> list[Path]:
    """Write all students into `students/`, one file a school; the files they stood in are kept aside."""
    old = _files_of_students(folder)
    with TemporaryDirectory(dir=folder, prefix=".new-") as made:
        fresh = Path(made) / "students-only"
        export({"students": students}, fresh)  # type: ignore[dict-item]
        new = sorted((fresh / "students").iterdir())
        for path in old:
            path.replace(path.with_name(path.name + KEPT))
        target = folder / "students"
        target.mkdir(exist_ok=True)
        return [path.replace(target / path.name) for path in new]


def _files_of_students(folder: Path) -> list[Path]:
    """The files that hold students and nothing else. Raises `CannotRun` where one holds more."""
    found = []
    for path in sorted(p for p in folder.rglob("*") if p.suffix in (".yaml", ".yml")):
        sections = _sections(path)
        if "students" not in sections:
            continue
        if sections != ["students"]:
            raise CannotRun(
                f"{path}:1: holds students beside other sections; move `students:` to a file of its own first"
            )
        found.append(path)
    return found


def _sections(path: Path) -> Sequence[str]:
    tree = read_tree(path.read_text("utf-8-sig"), path.name, lambda *_: None)
    return [word.text.strip().casefold() for word, _ in tree.pairs] if isinstance(tree, Table) else []
