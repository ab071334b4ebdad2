"""What the outside world knows: what was said and acknowledged, what arrived, when the service was down."""

from dataclasses import dataclass, field
from datetime import datetime

from service.engine.postman import Errand
from tests.simulation.town import Documents


@dataclass(frozen=True)
class Copy:
    """One copy of a message on the wire. `again`: the line made a second one of it."""

    id: str
    key: str
    attempt: int
    person: str
    channel: str
    purpose: str
    subject: str
    lock_line: str
    text: str
    role: str
    claimed: datetime
    instance: int
    again: bool

    @staticmethod
    def of(errand: Errand, instance: int, n: int) -> "Copy":
        return Copy(
            errand.id, errand.key, errand.attempt, errand.person, errand.channel, errand.purpose, errand.subject,
            errand.lock_line, errand.text, errand.role, errand.claimed_at, instance, n > 0,
        )  # fmt: skip


@dataclass(frozen=True)
class Acknowledged:
    """Words that the service said it has."""

    inbox: str
    name: str
    person: str | None
    text: str
    thread: str | None
    proven: bool
    at: datetime


@dataclass(frozen=True)
class Happening:
    """Something that happened, by its name, in plain words."""

    at: datetime
    name: str
    words: str


@dataclass(frozen=True)
class Try:
    """An attempt to send, and what the line did with it."""

    at: datetime
    does: str


@dataclass
class Outside:
    """All of it, gathered as it happens."""

    documents: Documents = field(default_factory=dict)
    happened: list[Happening] = field(default_factory=list)
    copies: list[tuple[datetime, Copy]] = field(default_factory=list)
    words: dict[str, Acknowledged] = field(default_factory=dict)
    presses: dict[str, tuple[str, str, str]] = field(default_factory=dict)
    tries: dict[str, list[Try]] = field(default_factory=dict)
    notices: dict[str, tuple[str, str, datetime]] = field(default_factory=dict)
    gone_notices: set[str] = field(default_factory=set)
    outages: list[tuple[datetime, datetime | None]] = field(default_factory=list)
    edits: int = 0

    def happens(self, at: datetime, name: str, words: str) -> None:
        self.happened.append(Happening(at, name, words))

    def arrived(self, copy: Copy, at: datetime) -> None:
        self.copies.append((at, copy))

    def tried(self, id: str, key: str, at: datetime, does: str) -> None:
        self.tries.setdefault(id, []).append(Try(at, does))

    def acknowledged(self, words: Acknowledged) -> None:
        self.words.setdefault(words.inbox, words)

    def pressed(self, name: str, person: str, student: str, result: str) -> None:
        self.presses[name] = (person, student, result)

    def noticed(self, id: str, text: str, school: str, at: datetime) -> None:
        self.notices[id] = (text, school, at)

    def withdrawn(self, id: str) -> None:
        self.gone_notices.add(id)

    def configured(self, documents: Documents) -> None:
        self.documents = documents
        self.edits += 1

    def down(self, at: datetime) -> None:
        self.outages.append((at, None))

    def back(self, at: datetime) -> None:
        since, _ = self.outages.pop()
        self.outages.append((since, at))
