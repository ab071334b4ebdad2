"""Reading a configuration folder: its files, its sections, and everything that is wrong with them at once."""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from service.core.district import District
from service.setup.build import build
from service.setup.docs import Documents
from service.setup.judge import judge
from service.setup.kinds import NOTHING, Reading, spelling
from service.setup.problems import Problem, UnreadableError, suggest
from service.setup.schema import SECTIONS, SINGLE
from service.setup.secrets import find_written, known_values, read_secrets, secret_names
from service.setup.tree import Node, Table, Word, read_tree

LARGEST = 1_000_000
"""The most bytes of one file: a district's largest school has some hundred kilobytes."""

ENDINGS = (".yaml", ".yml")


@dataclass(frozen=True)
class Loaded:
    """What a folder holds: the documents that could be read, every problem, and the district if no problem is an
    error. `documents` maps section to id to document, plain JSON-able data in which two loads compare equal.
    """

    district: District | None
    documents: Documents
    problems: tuple[Problem, ...]

    @property
    def errors(self) -> tuple[Problem, ...]:
        """The problems that keep the folder from being used."""
        return tuple(p for p in self.problems if p.severity == "error")

    @property
    def warnings(self) -> tuple[Problem, ...]:
        """The problems that do not."""
        return tuple(p for p in self.problems if p.severity == "warning")


def load(folder: Path, environ: Mapping[str, str]) -> Loaded:
    """Read and judge a folder. Nothing is raised for what is wrong in it, or for a folder that is not there: that
    is a problem too. `environ` is where named secrets are looked for, so that one written down is noticed.
    """
    to = Reading(str(folder))
    trees = [tree for file in _files(folder, to) if (tree := _tree(folder, file, to)) is not None]
    documents = _documents(trees, to)
    _look_for_secrets(folder, trees, documents, environ, to)
    if trees or not to.problems:
        judge(documents, to)
    problems = tuple(sorted(set(to.problems)))
    usable = not any(p.severity == "error" for p in problems)
    return Loaded(build(documents) if usable else None, documents, problems)


def _files(folder: Path, to: Reading) -> list[Path]:
    if not folder.is_dir():
        wrong = "is no folder" if folder.exists() else "there is no such folder"
        to.note(str(folder), 1, wrong, "give the folder that holds the configuration, or make one with `new`")
        return []
    found: list[Path] = []
    for root, names, files in os.walk(folder, onerror=lambda error: _unreadable(error, to)):
        names[:] = sorted(name for name in names if not name.startswith("."))
        found += [Path(root, f) for f in files if f.endswith(ENDINGS) and not f.startswith(".")]
    if not found and not to.problems:
        to.note(
            str(folder),
            1,
            "holds no .yaml file",
            "write one, or make a starter with `new` in an empty folder",
        )
    return sorted(found, key=lambda path: path.relative_to(folder).parts)


def _unreadable(error: OSError, to: Reading) -> None:
    to.note(str(error.filename), 1, "cannot be opened", "give the service's user the right to read it")


def _tree(folder: Path, path: Path, to: Reading) -> Table | None:
    file = path.relative_to(folder).as_posix()
    text = _text(path, file, to)
    root = None if text is None else read_tree(text, file, to.note)
    if root is None or isinstance(root, Table):
        return root
    to.refuse(root, "the file holds no sections", f"begin with one, such as schools: ({', '.join(SECTIONS)})")
    return None


def _text(path: Path, file: str, to: Reading) -> str | None:
    try:
        with path.open("rb") as source:
            raw = source.read(LARGEST + 1)
    except OSError:
        to.note(file, 1, "cannot be opened", "give the service's user the right to read it")
        return None
    if len(raw) > LARGEST:
        to.note(file, 1, "is larger than 1 MB", "split it: any file of the folder may hold any section")
        return None
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        to.note(
            file,
            line,
            f"is not UTF-8 text (byte {error.start})",
            "save the file again with the encoding UTF-8",
        )
        return None


def _documents(trees: list[Table], to: Reading) -> dict[str, dict[str, dict[str, object]]]:
    documents: dict[str, dict[str, dict[str, object]]] = {name: {} for name in SECTIONS}
    known = {spelling(name): name for name in SECTIONS}
    for word, node in (pair for tree in trees for pair in tree.pairs):
        name = known.get(spelling(word.text))
        if name is None:
            to.refuse(
                word, f"there is no section {word.text!r}", suggest(spelling(word.text), SECTIONS, "section")
            )
        elif name in SINGLE:
            _read_single(name, word, node, documents[name], to)
        else:
            _read_section(name, node, documents[name], to)
    return documents


def _read_single(name: str, word: Word, node: Node, into: dict[str, dict[str, object]], to: Reading) -> None:
    if name in into:
        file, line = to.place((name, name))
        to.refuse(word, f"{name} stands twice, first in {file}:{line}", "keep one of the two")
        return
    stored = SECTIONS[name].read(node, (name, name), to)
    into[name] = stored if isinstance(stored, dict) else {}
    to.places[(name, name)] = (word.file, word.line)


def _read_section(name: str, node: Node, into: dict[str, dict[str, object]], to: Reading) -> None:
    before = {id: to.place((name, id)) for id in into}
    stored = SECTIONS[name].read(node, (name,), to)
    if stored is NOTHING or not isinstance(stored, dict):
        return
    for id, document in stored.items():
        if id in before:
            file, line = to.place((name, id))
            first, at = before[id]
            to.note(
                file, line, f"{id} stands twice under {name}, first in {first}:{at}", "give one another id"
            )
            to.places[(name, id)] = before[id]
        else:
            into[id] = document


def _look_for_secrets(
    folder: Path, trees: list[Table], documents: Documents, environ: Mapping[str, str], to: Reading
) -> None:
    try:
        held = read_secrets(environ, folder)
    except UnreadableError as error:
        to.note(str(folder), 1, error.wrong, error.right)
        held = environ
    values = known_values(held, secret_names(documents))
    for tree in trees:
        find_written(tree, to, values)
