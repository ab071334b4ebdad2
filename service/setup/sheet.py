"""Students as a sheet: CSV that a spreadsheet opens, a row for each routine of each student.

A student with two routines has two rows; in the second only the name of the routine and its own cells need to be
filled. Devices stand in one cell, `L cochlear-implant; R hearing-aid; remote-mic`. A column that the sheet does
not have stays as it is for students who are there already; students who are not in the sheet stay too.
"""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from service.core.district import District
from service.setup.changes import Change, compare
from service.setup.describe import people_and_places
from service.setup.docs import Documents, View, section
from service.setup.judge_students import judge_students
from service.setup.kinds import NOTHING, Reading, Text
from service.setup.phrases import write_when
from service.setup.problems import Problem
from service.setup.schema import STUDENT
from service.setup.sheet_rows import COLUMNS, FILE, Cells, read_rows, student_node
from service.setup.tree import Word
from service.setup.words import ident

UNLISTED = ("usual", "usual since", "lights", "family first", "chains")
"""What a sheet has no columns for: it stays as the folder says."""

_UNSAFE = ("=", "+", "-", "@", "\t", "\r", "'")


@dataclass(frozen=True)
class SheetRow:
    """One row as it was understood: the student it speaks of, and what it does to them."""

    row: int
    student: str
    effect: Literal["added", "changed", "same", "wrong"]


@dataclass(frozen=True)
class SheetResult:
    """What a sheet would do, before anything is stored.

    `problems` name the row as their line. `documents` holds the students of rows without errors, and `changes`
    what storing them would change.
    """

    rows: tuple[SheetRow, ...]
    problems: tuple[Problem, ...]
    documents: Documents
    changes: tuple[Change, ...]


def read_sheet(text: str, district: District) -> SheetResult:
    """Read a sheet against the district it belongs to. Nothing is raised for what is wrong in it."""
    to = Reading()
    known = people_and_places(district)
    groups = _by_student(read_rows(text, district, to), known["students"])
    read: dict[str, dict[str, object]] = {}
    for id, cells in groups.items():
        if Text(ident).read(Word(id, False, FILE, cells[0].row), ("student",), to) is NOTHING:
            continue
        before = known["students"].get(id, {})
        stored = STUDENT.read(student_node(cells, before, to), ("students", id), to)
        if isinstance(stored, dict):
            read[id] = _kept(before, stored)
    others = {id: document for id, document in known["students"].items() if id not in read}
    judge_students({**known, "students": {**others, **read}}, to)
    return _result(groups, read, known["students"], to)


def write_sheet(documents: Documents) -> str:
    """The students as CSV with a header row; a cell that a spreadsheet could take for a formula has an apostrophe
    before it, which `read_sheet` takes off again.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for id, student in section(documents, "students").items():
        for row in _student_rows(id, student):
            writer.writerow([_guarded(row.get(column, "")) for column in COLUMNS])
    return out.getvalue()


def _by_student(
    rows: Iterable[Cells], students: Mapping[str, Mapping[str, object]]
) -> dict[str, list[Cells]]:
    """The rows of each student, under the id in the sheet or a new one."""
    groups: dict[str, list[Cells]] = {}
    named = {
        (str(s.get("school")), str(s.get("room")).casefold(), str(s.get("alias")).casefold()): id
        for id, s in students.items()
    }
    for cells in rows:
        place = (cells.text("school"), cells.text("room").casefold(), cells.text("alias").casefold())
        id = cells.text("student") or named.get(place) or _new_id(cells, {*students, *groups})
        if place[2]:
            named.setdefault(place, id)
        groups.setdefault(id, []).append(cells)
    return groups


def _new_id(cells: Cells, taken: set[str]) -> str:
    """The school and the next number: an id stays in logs and the record for good, so it names nobody."""
    words = cells.text("school").casefold()
    base = "-".join("".join(c if c.isascii() and c.isalnum() else " " for c in words).split())[:50] or "student"
    return next(id for n in range(1, len(taken) + 2) if (id := f"{base}-{n}") not in taken)


def _kept(before: Mapping[str, object], stored: dict[str, object]) -> dict[str, object]:
    """A student with what a sheet cannot say, in the order of the keys."""
    whole = {**{key: before[key] for key in UNLISTED if key in before}, **stored}
    return {key.name: whole[key.name] for key in STUDENT.keys if key.name in whole}


def _result(
    groups: Mapping[str, Sequence[Cells]],
    read: dict[str, dict[str, object]],
    students: Mapping[str, Mapping[str, object]],
    to: Reading,
) -> SheetResult:
    problems = tuple(sorted({p for p in to.problems if p.file == FILE}))
    wrong = {p.line for p in problems if p.severity == "error"}
    good = {id: d for id, d in read.items() if not any(cells.row in wrong for cells in groups[id])}
    before = {id: students[id] for id in good if id in students}
    changes = compare({"students": before}, {"students": good})
    effects: dict[str, Literal["added", "changed", "same", "wrong"]] = {
        change.id: "added" if change.kind == "added" else "changed" for change in changes
    }
    rows = [
        SheetRow(cells.row, id, effects.get(id, "same") if id in good else "wrong")
        for id, found in groups.items()
        for cells in found
    ]
    return SheetResult(tuple(sorted(rows, key=lambda r: r.row)), problems, {"students": good}, changes)


def _student_rows(id: str, student: View) -> Iterator[dict[str, str]]:
    whole = {
        "student": id,
        "alias": student.text("alias"),
        "nicknames": "; ".join(student.texts("nicknames")),
        "school": student.text("school"),
        "room": student.text("room"),
        "devices": "; ".join(student.texts("devices")),
        "guardians": "; ".join(student.texts("guardians")),
    }
    routines = student.views("routines")
    for name, routine in routines.items():
        when = routine.view("when")
        yield whole | {
            "routine": name,
            "when": write_when(when.of),
            "variant": when.text("variant"),
            "checker": routine.text("checker"),
            "second checker": routine.text("second"),
            "days": "; ".join(routine.texts("days")),
            "cycle days": "; ".join(routine.texts("cycle days")),
            "kind": routine.text("kind"),
        }
    if not routines:
        yield whole


def _guarded(cell: str) -> str:
    return f"'{cell}" if cell.startswith(_UNSAFE) else cell
