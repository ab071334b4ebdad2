"""Documents written back as a folder that loads to the same documents, with a comment on every key."""

import re
from collections.abc import Iterator, Mapping
from itertools import islice
from pathlib import Path

from service.setup.docs import Document, Documents
from service.setup.kinds import Keyed, Kind, Many, Named, Record
from service.setup.schema import SECTION_NOTES, SECTIONS, SINGLE
from service.setup.template import TemplateKind, plain_value
from service.setup.weekdays import ByWeekday

STUDENTS_IN_A_FILE = 400
"""So that a file stays well under the size that is read back."""

_COLUMN = 44
_PLAIN = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 _./@+-]|:(?=[0-9]))*")
_WORDS = ("yes", "no", "on", "off", "y", "n")
_ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}
_LABEL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff]")


def export(documents: Documents, folder: Path) -> None:
    """Write the documents into `folder`, which is made if it is not there.

    Raises FileExistsError where the folder already holds files, so that nothing of them is lost or read twice.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FileExistsError(f"{folder} is not empty: give a folder that is empty or not there yet")
    for name, sections in _files(documents):
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("\n".join(_sections(sections)), encoding="utf-8", newline="\n")


def _files(documents: Documents) -> Iterator[tuple[str, Documents]]:
    single = {name: documents[name] for name in SINGLE if documents.get(name)}
    if single:
        yield "district.yaml", single
    for name in ("channels", "people", "chains", "faults", "supplies"):
        if documents.get(name):
            yield f"{name}.yaml", {name: documents[name]}
    for id, school in documents.get("schools", {}).items():
        yield f"schools/{id}.yaml", {"schools": {id: school}}
    yield from _student_files(documents.get("students", {}))


def _student_files(students: Mapping[str, Document]) -> Iterator[tuple[str, Documents]]:
    by_school: dict[str, list[tuple[str, Document]]] = {}
    for id, student in students.items():
        by_school.setdefault(str(student.get("school", "none")), []).append((id, student))
    for school, members in by_school.items():
        rest = iter(members)
        number = 1
        while part := dict(islice(rest, STUDENTS_IN_A_FILE)):
            yield f"students/{school}{'' if number == 1 else f'-part-{number}'}.yaml", {"students": part}
            number += 1


def _sections(documents: Documents) -> Iterator[str]:
    for name, entries in documents.items():
        yield _commented(f"{name}:", SECTION_NOTES[name])
        content: object = entries[name] if name in SINGLE else entries
        yield from _lines(SECTIONS[name], content, 1)
        yield ""


def _lines(kind: Kind, value: object, depth: int) -> Iterator[str]:
    """The lines below a key."""
    if isinstance(kind, Record) and isinstance(value, Mapping):
        for key in kind.keys:
            if key.name in value:
                yield from _entry(key.name, key.note, key.kind, value[key.name], depth)
    elif isinstance(kind, Keyed | ByWeekday) and isinstance(value, Mapping):
        for name, inner in value.items():
            yield from _entry(str(name), "", kind.value, inner, depth)
    elif isinstance(kind, Named) and isinstance(value, list):
        for item in value:
            yield f"{'  ' * depth}- {_item(item)}"
    elif isinstance(kind, Many) and isinstance(value, list):
        for item in value:
            lines = list(_lines(kind.each, item, depth + 1))
            yield f"{'  ' * depth}- {lines[0].lstrip()}"
            yield from lines[1:]


def _entry(name: str, note: str, kind: Kind, value: object, depth: int) -> Iterator[str]:
    head = f"{'  ' * depth}{_scalar(name)}:"
    if _is_block(kind, value):
        yield _commented(head, note)
        yield from _lines(kind, value, depth + 1)
    else:
        yield _commented(f"{head} {_flow(value, isinstance(kind, TemplateKind))}", note)


def _is_block(kind: Kind, value: object) -> bool:
    if not value:
        return False
    if isinstance(kind, Many):
        return isinstance(kind.each, Record)
    return isinstance(kind, Record | Keyed | ByWeekday | Named)


def _commented(line: str, note: str) -> str:
    return f"{line.ljust(_COLUMN)}  # {note}" if note else line


def _item(item: object) -> str:
    if isinstance(item, Mapping):
        return ", ".join(f"{_scalar(str(name))}: {_flow(value)}" for name, value in item.items())
    return _flow(item)


def _flow(value: object, as_json: bool = False) -> str:
    """A value within one line."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_scalar(str(k))}: {_flow(v, as_json)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_flow(item, as_json) for item in value) + "]"
    if isinstance(value, bool):
        return ("true" if value else "false") if as_json else ("yes" if value else "no")
    if value is None:
        return "null"
    return _scalar(value) if isinstance(value, str) else repr(value)


def _scalar(text: str) -> str:
    plain = _PLAIN.fullmatch(text) and not text.endswith(" ") and plain_value(text) == text
    if plain and text.casefold() not in _WORDS:
        return text
    escaped = "".join(_ESCAPES.get(character, character) for character in text)
    return '"' + _LABEL.sub(lambda found: f"\\u{ord(found[0]):04x}", escaped) + '"'
