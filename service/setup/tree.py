"""YAML 1.2 text as a plain tree in which every value is still the text somebody wrote, with its line.

Only the events of the YAML library are used, never its guesses about types: `no` stays a word and `08:05` stays
`08:05`, and the reader of each key decides what the text means. What a configuration never needs and an attacker
might is refused here: anchors, deep nesting, several documents in a file, tags.
"""

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError

from service.setup.problems import UnreadableError

DEEPEST = 40
LONGEST_VALUE = 2000
_PLAIN_TAG = "tag:yaml.org,2002:"
_PLAIN_KINDS = ("str", "int", "float", "bool", "null", "map", "seq", "timestamp")
_POSITION = re.compile(r"position (\d+)")


@dataclass(frozen=True)
class Word:
    """A single value; `plain` when written without quotes."""

    text: str
    plain: bool
    file: str
    line: int


@dataclass(frozen=True)
class Row:
    """A list."""

    items: "tuple[Node, ...]"
    file: str
    line: int


@dataclass(frozen=True)
class Table:
    """A mapping, with its keys as written and in order; a key that came twice is reported and kept once."""

    pairs: "tuple[tuple[Word, Node], ...]"
    file: str
    line: int


Node = Word | Row | Table
Report = Callable[[str, int, str, str], None]


@dataclass
class _Open:
    """A list or mapping whose end has not been read."""

    line: int
    is_table: bool
    key: Word | None = None
    pairs: dict[str, tuple[Word, Node]] = field(default_factory=dict)
    items: list[Node] = field(default_factory=list)


class _Refusal(UnreadableError):
    """A form of YAML that this folder does not take; reading of the file stops."""

    def __init__(self, line: int, wrong: str, right: str) -> None:
        super().__init__(wrong, right)
        self.line = line


def read_tree(text: str, file: str, report: Report) -> Node | None:
    """The tree of one file, or None where it is empty or cannot be read; what is wrong goes to `report`
    as (file, line, wrong, right).
    """
    try:
        return _Composer(file, report).compose(text)
    except _Refusal as refusal:
        report(file, refusal.line, refusal.wrong, refusal.right)
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        report(file, mark.line + 1 if mark else 1, *_explain(str(error.problem or error.context)))
    except YAMLError as error:
        found = _POSITION.search(str(error))
        before = text[: int(found[1])] if found else ""
        report(
            file,
            before.count("\n") + 1,
            "holds a character that no text has",
            "delete it and save as plain UTF-8",
        )
    except RecursionError:
        report(file, 1, "is nested too deeply", f"keep lists and keys within {DEEPEST} levels")
    return None


class _Composer:
    def __init__(self, file: str, report: Report) -> None:
        self.file = file
        self.report = report
        self.stack: list[_Open] = []
        self.root: Node | None = None
        self.documents = 0

    def compose(self, text: str) -> Node | None:
        for event in YAML(typ="safe", pure=True).parse(text):
            self.take(type(event).__name__, event, event.start_mark.line + 1)
        if isinstance(self.root, Word) and not self.root.text:
            return None
        return self.root

    def take(self, kind: str, event: Any, line: int) -> None:
        if kind == "DocumentStartEvent":
            self.documents += 1
            if self.documents > 1:
                raise _Refusal(
                    line, "a second document begins here (---)", "keep one document in a file: remove ---"
                )
        elif kind == "AliasEvent" or getattr(event, "anchor", None):
            raise _Refusal(
                line, "anchors (&name, *name) are not read here", "write the value out in each place"
            )
        elif kind == "ScalarEvent":
            self._check_tag(event, line)
            self._add(Word(_clean(event.value, line), event.style is None, self.file, line))
        elif kind in ("MappingStartEvent", "SequenceStartEvent"):
            self._check_tag(event, line)
            if len(self.stack) >= DEEPEST:
                raise _Refusal(line, "is nested too deeply", f"keep lists and keys within {DEEPEST} levels")
            self.stack.append(_Open(line, kind == "MappingStartEvent"))
        elif kind in ("MappingEndEvent", "SequenceEndEvent"):
            self._close()

    def _check_tag(self, event: Any, line: int) -> None:
        tag = str(event.tag) if event.tag else ""
        if tag and tag != "!" and tag.removeprefix(_PLAIN_TAG) not in _PLAIN_KINDS:
            raise _Refusal(line, f"the tag {tag} is not read here", "write the plain value without !")

    def _close(self) -> None:
        done = self.stack.pop()
        if done.is_table:
            self._add(Table(tuple(done.pairs.values()), self.file, done.line))
        else:
            self._add(Row(tuple(done.items), self.file, done.line))

    def _add(self, node: Node) -> None:
        if not self.stack:
            self.root = node
            return
        top = self.stack[-1]
        if not top.is_table:
            top.items.append(node)
        elif top.key is None:
            if not isinstance(node, Word):
                raise _Refusal(
                    node.line, "a list or mapping stands where a key belongs", "write a word and a colon"
                )
            top.key = node
        else:
            self._pair(top, top.key, node)
            top.key = None

    def _pair(self, top: _Open, key: Word, node: Node) -> None:
        earlier = top.pairs.get(key.text)
        if earlier is None:
            top.pairs[key.text] = (key, node)
            return
        where = earlier[0].line
        self.report(
            self.file,
            key.line,
            f"{key.text!r} is written twice, first in line {where}",
            "keep one of the two",
        )


def _clean(text: str, line: int) -> str:
    """The text in the composed form, so that two ways of typing an accent are one name."""
    if len(text) > LONGEST_VALUE:
        raise _Refusal(line, f"one value has {len(text)} characters", f"keep each within {LONGEST_VALUE}")
    if any("\ud800" <= character <= "\udfff" for character in text):
        raise _Refusal(line, "holds half a character", "write the character itself instead of its escape")
    return unicodedata.normalize("NFC", text)


_EXPLAINED = (
    ("\\t", "a tab stands where only spaces may", "replace the tab by spaces"),
    ("'@'", "a value cannot begin with @", "put it in quotes"),
    ("'`'", "a value cannot begin with a backtick", "put it in quotes"),
    ("'%'", "a value cannot begin with %", "put it in quotes"),
    (
        "mapping values are not allowed",
        "a colon stands where none may",
        "put a value that holds a colon in quotes",
    ),
    ("end of stream", "a quote or bracket is opened and never closed", "close it"),
    ("stream end", "a quote or bracket is opened and never closed", "close it"),
    (
        "block end",
        "the line is not in step with those above it",
        "begin it in the same column as its neighbours",
    ),
    ("could not find expected ':'", "a colon is missing after a key", "write the key, a colon and a space"),
)


def _explain(problem: str) -> tuple[str, str]:
    for mark, wrong, right in _EXPLAINED:
        if mark in problem:
            return wrong, right
    return f"cannot be read as YAML ({problem})", "look at this line and the one above it"
