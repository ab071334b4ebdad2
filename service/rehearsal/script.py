"""The script of a rehearsal: what people say and what happens, each at a minute of the day."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import time, timedelta
from typing import Any

from service.setup.problems import Problem, UnreadableError, suggest
from service.setup.tree import Node, Row, Table, Word, read_tree
from service.setup.values import read_duration

KINDS = ("says", "page", "notice", "channel", "service")
BEHAVIOURS = ("accept", "refuse", "time-out", "gone", "slow", "bounce")
FIELDS = {
    "says": ("person", "text", "re", "via"),
    "page": ("person", "student", "result", "code", "side", "missed", "reason", "then", "again"),
    "notice": ("text", "school", "by"),
    "channel": ("name", "person", "does"),
}
NEEDED = {
    "says": ("person", "text"),
    "page": ("person", "student", "result"),
    "notice": ("text", "by"),
    "channel": ("does",),
}


class BadScript(Exception):
    """The script cannot be used; `problems` say where and what would be right."""

    def __init__(self, problems: list[Problem]) -> None:
        super().__init__("\n".join(str(p) for p in problems))
        self.problems = problems


@dataclass(frozen=True)
class Scripted:
    """One event of a script: its id (e1, e2, … in file order), kind, fields and the line it stands on."""

    id: str
    at: time
    kind: str
    what: dict[str, Any]
    school: str | None
    line: int


@dataclass(frozen=True)
class Script:
    """A whole script. `until` None: until all days are over."""

    file: str
    seed: int = 0
    until: time | None = None
    events: tuple[Scripted, ...] = ()


@dataclass
class _Reader:
    file: str
    problems: list[Problem] = field(default_factory=list)

    def report(self, file: str, line: int, wrong: str, right: str) -> None:
        self.problems.append(Problem(file, line, "error", wrong, right))

    def wrong(self, node: Node, wrong: str, right: str) -> None:
        self.report(self.file, node.line, wrong, right)


def read_script(text: str, file: str = "script") -> Script:
    """Read a script. Raises `BadScript` with every problem found."""
    reader = _Reader(file)
    tree = read_tree(text, file, reader.report) if text.strip() else None
    script = _script(tree, reader) if isinstance(tree, Table) else Script(file)
    if tree is not None and not isinstance(tree, Table):
        reader.wrong(tree, "a script is a set of keys", "begin with `events:`")
    if reader.problems:
        raise BadScript(reader.problems)
    return script


def _script(tree: Table, reader: _Reader) -> Script:
    seed, until, events = 0, None, []
    for key, node in tree.pairs:
        if key.text == "seed" and (read := _word(node, reader, _whole)) is not None:
            seed = read
        elif key.text == "until":
            until = _word(node, reader, clock)
        elif key.text == "events":
            events = list(_events(node, reader))
        elif key.text != "seed":
            reader.wrong(
                key, f"unknown key {key.text!r}", suggest(key.text, ("seed", "until", "events"), "key")
            )
    return Script(reader.file, seed, until, tuple(events))


def _events(node: Node, reader: _Reader) -> Iterator[Scripted]:
    if not isinstance(node, Row):
        reader.wrong(node, "events must be a list", 'write `- {at: "08:07", says: {person: ID, text: "ok"}}`')
        return
    for number, entry in enumerate(node.items, start=1):
        event = _event(f"e{number}", entry, reader)
        if event is not None:
            yield event


def _event(id: str, node: Node, reader: _Reader) -> Scripted | None:
    if not isinstance(node, Table):
        reader.wrong(node, "an event is a set of keys", 'write `{at: "08:07", says: {…}}`')
        return None
    given = {key.text: value for key, value in node.pairs}
    for key, _ in node.pairs:
        if key.text not in ("at", "school", *KINDS):
            reader.wrong(key, f"unknown key {key.text!r}", suggest(key.text, ("at", "school", *KINDS), "key"))
    kinds = [kind for kind in KINDS if kind in given]
    if len(kinds) != 1:
        reader.wrong(node, "an event is one thing", f"give exactly one of: {', '.join(KINDS)}")
        return None
    at = _word(given["at"], reader, clock) if "at" in given else None
    if at is None:
        if "at" not in given:
            reader.wrong(node, "the event has no time", 'add `at: "08:07"`')
        return None
    school = given.get("school")
    what = _what(kinds[0], given[kinds[0]], reader)
    if what is None:
        return None
    return Scripted(id, at, kinds[0], what, school.text if isinstance(school, Word) else None, node.line)


def _what(kind: str, node: Node, reader: _Reader) -> dict[str, Any] | None:
    if kind == "service":
        word = _word(node, reader, _up_or_down)
        return {"service": word} if word else None
    if not isinstance(node, Table):
        reader.wrong(node, f"{kind} is a set of keys", f"give {', '.join(NEEDED[kind])}")
        return None
    given: dict[str, Any] = {}
    for key, value in node.pairs:
        if key.text not in FIELDS[kind]:
            reader.wrong(key, f"unknown key {key.text!r} of {kind}", suggest(key.text, FIELDS[kind], "key"))
        elif isinstance(value, Word):
            given[key.text] = value.text
        elif isinstance(value, Row):
            given[key.text] = [item.text for item in value.items if isinstance(item, Word)]
        else:
            reader.wrong(value, f"{key.text} is not a word", "write a single word or text")
    for needed in NEEDED[kind]:
        if needed not in given:
            reader.wrong(node, f"{kind} has no {needed}", f"add `{needed}: …`")
    if kind == "channel" and "does" in given:
        _behaviour(given, node, reader)
    return given


def _behaviour(given: dict[str, Any], node: Node, reader: _Reader) -> None:
    """`slow 20 s` and `bounce 3 min` carry a length."""
    name, _, length = str(given["does"]).partition(" ")
    if name not in BEHAVIOURS:
        reader.wrong(node, f"a channel cannot {given['does']!r}", suggest(name, BEHAVIOURS, "behaviour"))
        return
    given["does"] = name
    given["span"] = timedelta()
    if length:
        try:
            given["span"] = read_duration(length)
        except UnreadableError as unreadable:
            reader.wrong(node, unreadable.wrong, unreadable.right)


def _word(node: Node, reader: _Reader, read: Callable[[str], Any]) -> Any:
    if not isinstance(node, Word):
        reader.wrong(node, "a single value is needed here", "write one word")
        return None
    try:
        return read(node.text)
    except UnreadableError as unreadable:
        reader.wrong(node, unreadable.wrong, unreadable.right)
        return None


def clock(text: str) -> time:
    """A time of day, HH:MM or HH:MM:SS. Raises `UnreadableError`."""
    try:
        if len(text.split(":")) not in (2, 3):
            raise ValueError
        return time.fromisoformat(text.zfill(5) if len(text) == 4 else text)
    except ValueError:
        raise UnreadableError(f"{text!r} is not a time of day", 'write "08:05" or "08:05:30"') from None


def _whole(text: str) -> int:
    if not text.lstrip("-").isdigit():
        raise UnreadableError(f"{text!r} is not a whole number", "write `seed: 7`")
    return int(text)


def _up_or_down(text: str) -> str:
    if text not in ("up", "down"):
        raise UnreadableError(f"the service cannot be {text!r}", "write `service: down` or `service: up`")
    return text
