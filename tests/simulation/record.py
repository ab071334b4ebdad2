"""The journal and the outbox as an outsider reads them, row by new row."""

import json
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

Rows = Callable[[str, Sequence[Any]], list[Sequence[Any]]]
"""Asks the database: a statement with `?` for its values."""

RUNNING = (
    "trying first", "climbing", "in hand", "said to be working", "until next school day", "nobody left to tell",
    "alarm",
)  # fmt: skip
ASKING = ("prompt", "reminder", "second", "alert")
TURNS = ("prompt", "second", "alert")


@dataclass(frozen=True)
class Entry:
    """One entry of the journal."""

    stream: str
    n: int
    at: datetime
    kind: str
    cause: list[str]
    actor: str | None
    body: dict[str, Any]

    @property
    def id(self) -> str:
        return str(self.body["id"])


@dataclass(frozen=True)
class Part:
    """One of the things a message tells: which step of which chase, to whom, for the how-many-eth time."""

    chase: str
    step: int
    person: str
    purpose: str
    generation: int

    @staticmethod
    def of(key: str) -> "Part":
        chase, step, person, purpose, generation = key.rsplit("/", 4)
        return Part(chase, int(step), person, purpose, int(generation))


@dataclass
class Record:
    """All that was read so far."""

    rows: Rows
    checks: dict[str, list[Entry]] = field(default_factory=lambda: defaultdict(list))
    chases: dict[str, list[Entry]] = field(default_factory=lambda: defaultdict(list))
    messages: dict[str, list[Entry]] = field(default_factory=lambda: defaultdict(list))
    withheld: dict[str, list[Entry]] = field(default_factory=lambda: defaultdict(list))
    readings: dict[str, Entry] = field(default_factory=dict)
    planned: dict[str, tuple[str, str]] = field(default_factory=dict)
    """Check to student and date."""
    known: set[str] = field(default_factory=set)
    about: dict[str, list[tuple[Part, str]]] = field(default_factory=lambda: defaultdict(list))
    """Chase to the parts that went into messages, with each message's id."""
    _parts: dict[str, list[Part]] = field(default_factory=dict)
    heads: dict[str, int] = field(default_factory=dict)

    def new(self) -> list[Entry]:
        """What was written since the last look, stream by stream, in order."""
        found: list[Entry] = []
        for stream, n in self.rows("SELECT stream, n FROM journal_heads ORDER BY stream", ()):
            before = self.heads.get(stream, 0)
            if n > before:
                self.heads[stream] = n
                asked = "SELECT n, at, kind, cause, actor, body FROM journal WHERE stream = ? AND n > ? ORDER BY n"
                found += [_entry(stream, row) for row in self.rows(asked, (stream, before))]
        for entry in found:
            self._take(entry)
        return found

    def _take(self, entry: Entry) -> None:
        self.known.add(entry.id)
        match entry.kind:
            case "check":
                self.checks[entry.id].append(entry)
            case "chase":
                self.chases[entry.id].append(entry)
            case "message":
                self.messages[entry.id].append(entry)
            case "withheld":
                for chase in entry.body["chases"]:
                    self.withheld[chase].append(entry)
            case "reading":
                self.readings[entry.id] = entry
            case "replan":
                self.known.update(entry.body["places"])
            case "plan":
                day = entry.stream.rpartition("/")[2]
                for held in entry.body["rounds"]:
                    self.known.add(held["id"])
                    for place in held["students"]:
                        check = place["check"]
                        self.known.add(check)
                        student = check.removeprefix("ck-").removesuffix(f"-{place['routine']}-{day}")
                        self.planned[check] = (student, day)

    def parts(self, message: str, person: str) -> list[Part]:
        """What a message to a person was made of; nothing for answers and summaries."""
        if message not in self._parts:
            asked = "SELECT key FROM tray WHERE person = ? AND outbox_id = ? ORDER BY key"
            self._parts[message] = [Part.of(key) for (key,) in self.rows(asked, (person, message))]
            for part in self._parts[message]:
                self.about[part.chase].append((part, message))
        return self._parts[message]

    def calm_days(self) -> int:
        """How many student-days went as they should: each check asked once, found working in the checker's time, and
        nobody else told of anything.
        """
        runs: dict[str, list[str]] = defaultdict(list)
        for chase in self.chases:
            _, _, rest = chase.removeprefix("ch-").partition("-")
            runs[rest.rpartition("-")[0]].append(chase)
        days: dict[tuple[str, str], bool] = {}
        for check, day in self.planned.items():
            calm = self._is_calm(check, runs[check.removeprefix("ck-")])
            days[day] = days.get(day, True) and calm
        return sum(days.values())

    def _is_calm(self, check: str, chases: Sequence[str]) -> bool:
        results = [e.body["result"] for e in self.checks.get(check, ()) if e.body["result"]]
        steps = [e.body["step"] for chase in chases for e in self.chases[chase]]
        return len(chases) == 1 and results == ["working"] and not any(steps)

    def took(self, message: str) -> datetime | None:
        """When a channel took a message that did not come back."""
        states = [e for e in self.messages[message] if e.body["outcome"] in ("accepted", "bounced")]
        return states[-1].at if states and states[-1].body["outcome"] == "accepted" else None

    def told(self, chase: str, purposes: Sequence[str]) -> Iterator[tuple[Part, str, datetime]]:
        """Parts of these purposes about a chase that a channel took."""
        for part, message in self.about[chase]:
            if part.purpose in purposes and (at := self.took(message)) is not None:
                yield part, message, at

    def state(self, chase: str, before: datetime) -> Entry | None:
        """The last entry of a chase earlier than an instant."""
        return next((e for e in reversed(self.chases[chase]) if e.at < before), None)


def _entry(stream: str, row: Sequence[Any]) -> Entry:
    n, at, kind, cause, actor, body = row
    return Entry(stream, n, instant(at), kind, plain(cause), actor, plain(body))


def plain(value: Any) -> Any:
    """A JSON value, which one database gives as text."""
    return json.loads(value) if isinstance(value, str) else value


def instant(value: Any) -> datetime:
    """An instant, which one database gives as text without its zone."""
    at = datetime.fromisoformat(value) if isinstance(value, str) else value
    return at.replace(tzinfo=UTC) if at.tzinfo is None else at.astimezone(UTC)
