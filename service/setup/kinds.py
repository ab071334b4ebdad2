"""The kinds of value a key may hold: each reads a node of the tree into the one form that is stored.

What is wrong is noted in the `Reading` and the value is left out; reading goes on, so that one look at a folder
finds everything. The stored form is plain JSON-able data and reads back to itself.
"""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final, Protocol

from service.setup.problems import Gravity, Problem, UnreadableError, nearest, suggest
from service.setup.tree import Node, Row, Table, Word

Path = tuple[str | int, ...]


class Missing:
    """The value of a key that could not be read."""


_LONGEST_SENTENCE = 400
NOTHING: Final = Missing()


@dataclass
class Reading:
    """What one reading of a folder has found: problems, and where each value stands. `home` is named where a
    problem belongs to no line.
    """

    home: str = "."
    problems: list[Problem] = field(default_factory=list)
    places: dict[Path, tuple[str, int]] = field(default_factory=dict)

    def note(self, file: str, line: int, wrong: str, right: str, severity: Gravity = "error") -> None:
        """Remember a problem of a known line."""
        self.problems.append(Problem(file, line, severity, _clipped(wrong), _clipped(right)))

    def refuse(self, node: Node, wrong: str, right: str) -> Missing:
        """Remember an error of a node; the value to give back in its place."""
        self.note(node.file, node.line, wrong, right)
        return NOTHING

    def place(self, path: Path) -> tuple[str, int]:
        """Where the value at `path` stands, or the nearest value around it."""
        while path and path not in self.places:
            path = path[:-1]
        return self.places.get(path, (self.home, 1))

    def at(self, path: Path, wrong: str, right: str, severity: Gravity = "error") -> None:
        """Remember a problem of the value at `path`."""
        self.note(*self.place(path), wrong, right, severity)


def _clipped(text: str) -> str:
    """Text short enough to read, whatever was quoted in it."""
    return text if len(text) <= _LONGEST_SENTENCE else f"{text[: _LONGEST_SENTENCE - 60]} … {text[-50:]}"


class Kind(Protocol):
    """A kind of value."""

    def read(self, node: Node, path: Path, to: Reading) -> object:
        """The stored form of `node`, or NOTHING with the problem noted in `to`."""
        ...


def spelling(key: str) -> str:
    """A key as it is looked up: case, underscores and hyphens between words do not matter."""
    return re.sub(r"[\s_-]+", " ", key.casefold()).strip()


@dataclass(frozen=True)
class Text:
    """One value, taken by `take`, which gives the stored form or raises `UnreadableError`."""

    take: Callable[[str], object]

    def read(self, node: Node, path: Path, to: Reading) -> object:
        """The value, unless it is empty, a list or a mapping."""
        to.places[path] = (node.file, node.line)
        if not isinstance(node, Word):
            return to.refuse(node, f"{_key(path)} holds several values", "write one value")
        if not node.text and node.plain:
            return to.refuse(node, f"{_key(path)} is empty", "write a value, or take the key out")
        try:
            return self.take(node.text.strip())
        except UnreadableError as error:
            return to.refuse(node, error.wrong, error.right)


@dataclass(frozen=True)
class Many:
    """A list; one value alone, or several with commas between them, will do as well."""

    each: Kind
    split: bool = True

    def read(self, node: Node, path: Path, to: Reading) -> object:
        """The values that could be read."""
        to.places[path] = (node.file, node.line)
        items = [self.each.read(item, (*path, n), to) for n, item in enumerate(self._items(node))]
        return [item for item in items if item is not NOTHING]

    def _items(self, node: Node) -> Iterable[Node]:
        if isinstance(node, Row):
            return node.items
        if isinstance(node, Word) and node.plain and not node.text:
            return ()
        if isinstance(node, Word) and node.plain and self.split:
            return [Word(t.strip(), True, node.file, node.line) for t in node.text.split(",")]
        return (node,)


@dataclass(frozen=True)
class Named:
    """An ordered list of names with a value each, written `- Period 1: 08:15` or `Period 1: 08:15`; stored as
    one-key mappings. Where `alone` is set an entry may be a name (or, if it says so, a value) by itself.
    """

    name: Callable[[str], object]
    value: Kind
    alone: Callable[[str], object] | None = None
    least: int = 0

    def read(self, node: Node, path: Path, to: Reading) -> object:
        """The entries that could be read, in order."""
        to.places[path] = (node.file, node.line)
        entries: list[object] = []
        written = self._entries(node)
        if len(written) < self.least:
            to.refuse(node, f"{_key(path)} has {len(written)} entries", f"write at least {self.least}")
        for entry in written:
            stored = self._entry(entry, (*path, len(entries)), to)
            if stored is not NOTHING:
                entries.append(stored)
        return entries

    def _entries(self, node: Node) -> list[Node | tuple[Word, Node]]:
        if isinstance(node, Table):
            return list(node.pairs)
        entries: list[Node | tuple[Word, Node]] = []
        for item in Many(self.value)._items(node):
            if isinstance(item, Table):
                entries.extend(item.pairs)
            else:
                entries.append(item)
        return entries

    def _entry(self, entry: Node | tuple[Word, Node], path: Path, to: Reading) -> object:
        if isinstance(entry, tuple):
            name = Text(self.name).read(entry[0], path, to)
            value = self.value.read(entry[1], (*path, entry[0].text), to)
            return NOTHING if name is NOTHING or value is NOTHING else {str(name): value}
        if self.alone is None:
            to.places[path] = (entry.file, entry.line)
            return to.refuse(
                entry, f"{_key(path)}: a name without a value", "write the name, a colon and the value"
            )
        return Text(self.alone).read(entry, path, to)


@dataclass(frozen=True)
class Keyed:
    """A mapping from names of the coordinator's own to values of one kind."""

    name: Callable[[str], object]
    value: Kind

    def read(self, node: Node, path: Path, to: Reading) -> object:
        """The entries whose name and value could be read."""
        to.places[path] = (node.file, node.line)
        if isinstance(node, Word) and node.plain and not node.text:
            return {}
        if not isinstance(node, Table):
            return to.refuse(
                node, f"{_key(path)} has no names in it", "write lines of a name, a colon and its value"
            )
        entries: dict[str, object] = {}
        for key, value in node.pairs:
            self._entry(key, value, path, to, entries)
        return entries

    def _entry(self, key: Word, node: Node, path: Path, to: Reading, entries: dict[str, object]) -> None:
        name = Text(self.name).read(key, (*path, key.text), to)
        value = self.value.read(node, (*path, key.text if name is NOTHING else str(name)), to)
        if name is NOTHING or value is NOTHING:
            return
        if str(name) in entries:
            to.refuse(key, f"{name} is written twice", "keep one of the two")
            return
        entries[str(name)] = value
        to.places[(*path, str(name))] = (key.file, key.line)


@dataclass(frozen=True)
class Key:
    """One key of a record: its name, the kind of its value, and the comment a school secretary reads.

    `otherwise` is what is stored where the key is left out; without it the key stays absent.
    """

    name: str
    kind: Kind
    note: str
    needed: bool = False
    otherwise: object = None


@dataclass(frozen=True)
class Record:
    """A mapping with known keys. `rewrite` may bring other ways of writing into the known keys first."""

    keys: tuple[Key, ...]
    rewrite: Callable[[Table], Table] | None = None

    def read(self, node: Node, path: Path, to: Reading) -> object:
        """The keys that could be read, in the order of the record."""
        to.places[path] = (node.file, node.line)
        if isinstance(node, Word) and node.plain and not node.text:
            node = Table((), node.file, node.line)
        if not isinstance(node, Table):
            first = ", ".join(k.name for k in self.keys[:4])
            return to.refuse(
                node, f"{_key(path)} needs keys under it", f"write them on lines of their own: {first} …"
            )
        if self.rewrite is not None:
            node = self.rewrite(node)
        found = self._read_pairs(node, path, to)
        for key in self.keys:
            if key.needed and key.name not in found:
                to.refuse(node, f"{_key(path)} says nothing of {key.name!r}", f"add {key.name}: {key.note}")
            elif key.otherwise is not None:
                found.setdefault(key.name, key.otherwise)
        return {k.name: found[k.name] for k in self.keys if found.get(k.name, NOTHING) is not NOTHING}

    def _read_pairs(self, node: Table, path: Path, to: Reading) -> dict[str, object]:
        known = {spelling(key.name): key for key in self.keys}
        found: dict[str, object] = {}
        for word, value in node.pairs:
            key = known.get(spelling(word.text))
            if key is None:
                right = suggest(spelling(word.text), [k.name for k in self.keys], "key")
                to.refuse(word, f"{_key(path)} has no key {word.text!r}", right)
            elif key.name in found:
                to.refuse(word, f"{word.text!r} says again what {key.name!r} says", "keep one of the two")
            else:
                found[key.name] = key.kind.read(value, (*path, key.name), to)
                to.places[(*path, key.name)] = (word.file, word.line)
        return found


def _key(path: Path) -> str:
    """The value at `path` as a person would name it."""
    return " / ".join(str(part + 1 if isinstance(part, int) else part) for part in path[-2:]) or "the file"


def choice(options: Mapping[str, object], what: str) -> Callable[[str], object]:
    """A taker of one of some words; the stored form is what the word stands for."""
    known = {spelling(word): value for word, value in options.items()}

    def take(text: str) -> object:
        found = known.get(spelling(text), NOTHING)
        if found is NOTHING:
            near = nearest(spelling(text), known)
            right = f"did you mean {near!r}?" if near else f"use one of: {', '.join(options)}"
            raise UnreadableError(f"{text!r} is no {what}", right)
        return found

    return take
