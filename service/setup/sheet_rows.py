"""The rows of a sheet as somebody's spreadsheet wrote them, and the student they add up to."""

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from service.core.district import District
from service.setup.kinds import Reading, spelling
from service.setup.problems import suggest
from service.setup.tree import Node, Row, Table, Word

FILE = "sheet"
LARGEST = 5_000_000
COLUMNS = (
    "student", "alias", "nicknames", "school", "room", "devices", "guardians",
    "routine", "when", "variant", "checker", "second checker", "days", "cycle days", "kind",
)  # fmt: skip
"""The columns in the order they are written; `student` is the id and may be left empty for a new student."""

_NEEDED = ("alias", "school", "room", "devices")
_OTHER_NAMES = {"id": "student", "second": "second checker", "device": "devices", "guardian": "guardians"}
_LISTS = ("nicknames", "devices", "guardians")
_ROUTINE_LISTS = ("days", "cycle days")
_BOTH = re.compile(r"both\s+(.+)", re.IGNORECASE)
_GUARDED = re.compile(r"'(?=[=+\-@\t\r'])")


@dataclass(frozen=True)
class Cells:
    """One row: column to text, for the columns that the sheet has."""

    row: int
    of: Mapping[str, str]

    def text(self, column: str) -> str:
        """The cell's text, empty where there is none."""
        return self.of.get(column, "")


def read_rows(text: str, district: District, to: Reading) -> Iterator[Cells]:
    """The rows that hold something, with names of people and schools turned into their ids."""
    if len(text) > LARGEST:
        to.note(FILE, 1, "the sheet is larger than 5 MB", "split it by school")
        return
    rows = _records(text.lstrip("\ufeff"), to)
    number, header = next(((n, row) for n, row in rows if any(row)), (1, None))
    if header is None:
        to.note(FILE, 1, "the sheet is empty", f"begin with a row of column names: {', '.join(COLUMNS)}")
        return
    columns = _columns(header, number, to)
    if any(needed not in columns.values() for needed in _NEEDED):
        return
    people = _by_name({id: person.name for id, person in district.people.items()})
    schools = _by_name({id: school.name for id, school in district.schools.items()})
    for number, row in rows:
        if any(row):
            yield Cells(number, _translated(_cells(row, columns, number, to), people, schools))


def _records(text: str, to: Reading) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text), skipinitialspace=True)
    number = 0
    try:
        for number, row in enumerate(reader, 1):
            yield number, [_GUARDED.sub("", cell.strip(" \n\u00a0"), count=1).strip() for cell in row]
    except csv.Error as error:
        to.note(FILE, number + 1, f"the row cannot be read ({error})", "save the sheet again as CSV in UTF-8")


def _delimiter(text: str) -> str:
    header = next((line for line in text.splitlines() if line.strip(" ,;\t")), "")
    return max(",;\t", key=header.count)


def _columns(header: Sequence[str], number: int, to: Reading) -> dict[int, str]:
    columns: dict[int, str] = {}
    for place, cell in enumerate(header):
        name = _OTHER_NAMES.get(spelling(cell), spelling(cell))
        if not name:
            continue
        if name not in COLUMNS:
            to.note(FILE, number, f"there is no column {cell!r}", suggest(name, COLUMNS, "column"))
        elif name in columns.values():
            to.note(FILE, number, f"the column {name!r} stands twice", "keep one of the two")
        else:
            columns[place] = name
    for needed in _NEEDED:
        if needed not in columns.values():
            to.note(
                FILE,
                number,
                f"the column {needed!r} is missing",
                f"add it; the columns are: {', '.join(COLUMNS)}",
            )
    return columns


def _cells(row: Sequence[str], columns: Mapping[int, str], number: int, to: Reading) -> dict[str, str]:
    stray = [cell for place, cell in enumerate(row) if cell and place not in columns]
    if stray and len(row) > max(columns) + 1:
        to.note(
            FILE, number, f"{stray[-1]!r} stands beyond the last column", "put cells with a comma in quotes"
        )
    return {name: row[place] if place < len(row) else "" for place, name in columns.items()}


def _by_name(names: Mapping[str, str]) -> dict[str, str]:
    """Name to id, where only one has that name."""
    folded = [name.casefold() for name in names.values()]
    return {name.casefold(): id for id, name in names.items() if folded.count(name.casefold()) == 1}


def _translated(
    cells: dict[str, str], people: Mapping[str, str], schools: Mapping[str, str]
) -> dict[str, str]:
    for column in ("checker", "second checker"):
        if column in cells:
            cells[column] = people.get(cells[column].casefold(), cells[column])
    cells["school"] = schools.get(cells["school"].casefold(), cells["school"])
    return cells


def student_node(rows: Sequence[Cells], before: Mapping[str, object], to: Reading) -> Table:
    """The student of some rows, in the form in which a configuration file would say it."""
    first = rows[0]
    pairs: list[tuple[Word, Node]] = []
    for column in ("alias", "nicknames", "school", "room", "devices", "guardians"):
        node = _student_cell(column, rows, before, to)
        if node is not None:
            pairs.append((_word(column, first.row), node))
    routines = _routines(rows, before)
    if routines:
        pairs.append((_word("routines", first.row), Table(tuple(routines), FILE, first.row)))
    return Table(tuple(pairs), FILE, first.row)


def _student_cell(
    column: str, rows: Sequence[Cells], before: Mapping[str, object], to: Reading
) -> Node | None:
    said = [(cells.text(column), cells.row) for cells in rows if cells.text(column)]
    for text, row in said[1:]:
        if text != said[0][0]:
            wrong = f"{column} is {text!r} here and {said[0][0]!r} in row {said[0][1]}"
            to.note(FILE, row, wrong, "let all rows of a student say the same, or leave the cell empty")
    if said:
        text, row = said[0]
        return _list(text, row) if column in _LISTS else _word(text, row)
    if column not in rows[0].of and column in before:
        return _stored(before[column], rows[0].row)
    return None


def _routines(rows: Sequence[Cells], before: Mapping[str, object]) -> list[tuple[Word, Node]]:
    if "when" not in rows[0].of:
        kept = _stored(before.get("routines", {}), rows[0].row)
        return list(kept.pairs) if isinstance(kept, Table) else []
    routines: list[tuple[Word, Node]] = []
    taken: set[str] = set()
    for cells in rows:
        if any(cells.text(column) for column in ("routine", "when", "checker")):
            name = cells.text("routine") or _free(
                spelling(cells.text("kind") or "daily").replace(" ", "-"), taken
            )
            taken.add(name)
            routines.append((_word(name, cells.row), _routine(cells)))
    return routines


def _free(name: str, taken: set[str]) -> str:
    return next(n for k in range(1, len(taken) + 2) if (n := name if k == 1 else f"{name}-{k}") not in taken)


def _routine(cells: Cells) -> Table:
    pairs: list[tuple[Word, Node]] = []
    for column, key in (("checker", "checker"), ("second checker", "second"), ("kind", "kind")):
        if cells.text(column):
            pairs.append((_word(key, cells.row), _word(cells.text(column), cells.row)))
    for column in _ROUTINE_LISTS:
        if cells.text(column):
            pairs.append((_word(column, cells.row), _list(cells.text(column), cells.row)))
    if cells.text("when"):
        inner = [(_word("due", cells.row), _word(cells.text("when"), cells.row))]
        if cells.text("variant"):
            inner.append((_word("variant", cells.row), _word(cells.text("variant"), cells.row)))
        pairs.append((_word("when", cells.row), Table(tuple(inner), FILE, cells.row)))
    return Table(tuple(pairs), FILE, cells.row)


def _stored(value: object, row: int) -> Node:
    """What is stored already, as if somebody had written it again."""
    if isinstance(value, Mapping):
        return Table(
            tuple((_word(str(key), row), _stored(inner, row)) for key, inner in value.items()), FILE, row
        )
    if isinstance(value, list):
        return Row(tuple(_word(str(item), row) for item in value), FILE, row)
    return _word(str(value), row)


def _list(text: str, row: int) -> Row:
    parts = [part.strip() for part in re.split(r"[;,\n]", text) if part.strip()]
    words: list[str] = []
    for part in parts:
        found = _BOTH.fullmatch(part)
        words.extend([f"left {found[1]}", f"right {found[1]}"] if found else [part])
    return Row(tuple(_word(word, row) for word in words), FILE, row)


def _word(text: str, row: int) -> Word:
    return Word(text, False, FILE, row)
