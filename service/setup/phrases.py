"""When a routine is due and how long a contact has: the few sentences of the configuration, read and written."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta

from service.setup import words
from service.setup.kinds import NOTHING, Path, Reading, spelling
from service.setup.problems import UnreadableError
from service.setup.tree import Node, Table, Word
from service.setup.values import read_duration

SHORTEST_LIMIT = timedelta(minutes=5)
_LONGEST_OFFSET = timedelta(hours=12)
_LONGEST_LIMIT = timedelta(hours=24)
_TIME = re.compile(r"(?:at\s+)?(\d{1,2}:\d{2})")
_BEFORE = re.compile(r"(?P<by>\d.*?)\s+(?P<way>before|after)\s+(?P<bell>.+)", re.IGNORECASE)
_BELL_FIRST = re.compile(
    r"(?P<way>before|after)\s+(?P<bell>[^,]+?)(?:\s*,\s*(?:by\s+)?(?P<by>.+))?", re.IGNORECASE
)
_UNTIL = re.compile(r"(?:until:?\s+)?(?P<bell>[^,]+?)(?:\s*,\s*else:?\s+(?P<otherwise>.+))?", re.IGNORECASE)
_DAYS_END = ("end of day", "end of the day", "until end of day", "until the end of the day")

take_offset = words.duration(timedelta(), _LONGEST_OFFSET)
take_limit = words.duration(
    SHORTEST_LIMIT,
    _LONGEST_LIMIT,
    "telling somebody can take up to 4 minutes, so nobody can have less than 5",
)


def bell_point(text: str) -> str:
    """The start of a bell (`Period 1`) or its end (`end of Period 1`)."""
    edge, name = split_bell(text)
    return f"end of {words.bell_name(name)}" if edge == "end" else words.bell_name(name)


def split_bell(text: str) -> tuple[str, str]:
    """Edge (`start` or `end`) and name of a bell point."""
    found = re.fullmatch(r"(?:the\s+)?(end|start) of\s+(.+)", text, re.IGNORECASE)
    return (found[1].lower(), found[2]) if found else ("start", text)


def read_when(text: str) -> dict[str, object]:
    """When a routine is due: `08:05`, `10 min before Period 1`, `before Period 1, 10 min`, `at Period 1`."""
    clock = _TIME.fullmatch(text)
    if clock:
        return {"at": words.clock(clock[1])}
    found = _BEFORE.fullmatch(text) or _BELL_FIRST.fullmatch(text)
    if found:
        if not found["by"]:
            raise UnreadableError(f"{text!r} does not say how long {found['way']}", f"write {text}, 10 min")
        return {found["way"].lower(): bell_point(found["bell"]), "by": take_offset(found["by"])}
    bell = re.sub(r"^at\s+", "", text, flags=re.IGNORECASE)
    if not bell or (bell[0].isdigit() and ":" in bell):
        raise UnreadableError(
            f"{text!r} is no time of day and no bell", "write 08:05, or before: Period 1, 10 min"
        )
    return {"after": bell_point(bell), "by": "0 min"}


def write_when(when: Mapping[str, object]) -> str:
    """The sentence of a stored `when`, without its variant."""
    if "at" in when:
        return str(when["at"])
    way = "before" if "before" in when else "after"
    return f"{when['by']} {way} {when[way]}"


def read_limit(text: str) -> object:
    """A contact's limit: `10 min`, `end of day`, or `until end of Period 2, else 12 min`."""
    if spelling(text) in _DAYS_END:
        return "end of day"
    if text[:1].isdigit():
        return take_limit(text)
    found = _UNTIL.fullmatch(text)
    if found is None:
        raise UnreadableError(f"{text!r} is no limit", "write 10 min, or until: end of Period 2, else 12 min")
    stored: dict[str, object] = {"until": bell_point(found["bell"])}
    if found["otherwise"]:
        stored["else"] = take_limit(found["otherwise"])
    return stored


@dataclass(frozen=True)
class Gather:
    """Puts some keys of a table into a table of their own."""

    keys: tuple[str, ...]
    into: str

    def __call__(self, table: Table) -> Table:
        """The table with the keys moved; as it was where it has none of them or already has `into`."""
        inner = tuple(
            p for p in table.pairs if spelling(p[0].text).split(" ")[0] in self.keys or _bare_duration(p)
        )
        if not inner or any(spelling(word.text) == self.into for word, _ in table.pairs):
            return table
        rest = tuple(p for p in table.pairs if p not in inner)
        word = Word(self.into, True, table.file, inner[0][0].line)
        return Table((*rest, (word, Table(inner, table.file, word.line))), table.file, table.line)


def _bare_duration(pair: tuple[Word, Node]) -> bool:
    """Whether a pair is what `{before: Period 1, 10 min}` leaves of the ten minutes: a key without a value."""
    word, value = pair
    return isinstance(value, Word) and value.plain and not value.text and word.text[:1].isdigit()


def _parts(node: Table, known: tuple[str, ...], bare: str, to: Reading) -> dict[str, str] | None:
    found: dict[str, str] = {}
    for word, written in node.pairs:
        key, value = _meant(word, written, bare)
        if key not in known or not isinstance(value, Word) or not value.text:
            to.refuse(
                word, f"{word.text!r} cannot be read here", f"use {', '.join(known)}, each with one value"
            )
            return None
        found[key] = value.text.strip()
    return found


def _meant(word: Word, value: Node, bare: str) -> tuple[str, Node]:
    """Key and value of a pair, also where a comma within braces has torn a sentence in two."""
    if _bare_duration((word, value)):
        return bare, Word(word.text, True, word.file, word.line)
    if bare == "else" and spelling(word.text).startswith("else "):
        return "else", Word(spelling(word.text)[5:], True, word.file, word.line)
    return spelling(word.text), value


@dataclass(frozen=True)
class WhenKind:
    """When a routine is due; stored as `at`, or as `before`/`after` a bell and `by` how long, with the variant."""

    def read(self, node: Node, path: Path, to: Reading) -> object:
        """The stored form."""
        to.places[path] = (node.file, node.line)
        try:
            if isinstance(node, Word):
                return read_when(node.text.strip())
            if isinstance(node, Table):
                parts = _parts(node, ("at", "before", "after", "by", "due", "variant"), "by", to)
                return NOTHING if parts is None else self._from_parts(parts)
        except UnreadableError as error:
            return to.refuse(node, error.wrong, error.right)
        return to.refuse(node, "when cannot be a list", "write at: 08:05, or before: Period 1 and by: 10 min")

    def _from_parts(self, parts: dict[str, str]) -> dict[str, object]:
        ways = [way for way in ("at", "before", "after", "due") if way in parts]
        if len(ways) != 1:
            raise UnreadableError("it is not clear when the check is due", "give one of at, before or after")
        way = "" if ways[0] == "due" else f"{ways[0]} "
        by = f", {parts['by']}" if "by" in parts else ""
        stored = read_when(f"{way}{parts[ways[0]]}{by}")
        if "variant" in parts:
            stored["variant"] = words.line(parts["variant"])
        return stored


@dataclass(frozen=True)
class LimitKind:
    """The time a contact has; stored as a length, as `end of day`, or as `until` a bell and what holds `else`."""

    def read(self, node: Node, path: Path, to: Reading) -> object:
        """The stored form."""
        to.places[path] = (node.file, node.line)
        try:
            if isinstance(node, Word):
                return read_limit(node.text.strip())
            if isinstance(node, Table):
                parts = _parts(node, ("until", "else"), "else", to)
                return NOTHING if parts is None else self._from_parts(parts)
        except UnreadableError as error:
            return to.refuse(node, error.wrong, error.right)
        return to.refuse(
            node, "a limit cannot be a list", "write 10 min, or until: end of Period 2, else 12 min"
        )

    def _from_parts(self, parts: dict[str, str]) -> object:
        if "until" not in parts:
            raise UnreadableError("the limit does not say until which bell", "add until: end of Period 2")
        otherwise = f", else {parts['else']}" if "else" in parts else ""
        return read_limit(f"until {parts['until']}{otherwise}")


def limit_minutes(stored: object) -> timedelta | None:
    """The length of a stored limit that is a length."""
    return read_duration(stored) if isinstance(stored, str) and stored != "end of day" else None
