"""What lies in people's pockets: every message that really arrived, and what they wrote back."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

FIRST_WORDS = 120


@dataclass(frozen=True)
class Note:
    """One message in a pocket. `mine`: written by its owner; `copies`: how often it came under the same id."""

    id: str
    at: datetime
    headline: str
    lines: tuple[str, ...] = ()
    link: str | None = None
    purpose: str = ""
    by_mail: bool = False
    mine: bool = False
    copies: int = 1


@dataclass
class Pockets:
    """All pockets by person. `refused` says what the receivers did not take, and why."""

    now: Callable[[], datetime]
    refused: list[str] = field(default_factory=list)
    arrived: int = 0
    _held: dict[str, list[Note]] = field(default_factory=dict)

    def put(self, person: str, note: Note) -> None:
        """A message arrives. The same one again is shown once, and counted."""
        self.arrived += 1
        notes = self._held.setdefault(person, [])
        for place, known in enumerate(notes):
            if known.id == note.id and not known.mine:
                notes[place] = replace(known, copies=known.copies + 1)
                return
        notes.append(note)

    def write(self, person: str, id: str, words: str) -> None:
        """The owner has written something."""
        self._held.setdefault(person, []).append(Note(id, self.now(), words[:FIRST_WORDS], mine=True))

    def strike(self, person: str, id: str) -> None:
        """What the owner wrote was not taken: it is as if it had not been written."""
        self._held[person] = [note for note in self._held[person] if note.id != id]

    def of(self, person: str) -> Sequence[Note]:
        """A person's notes in the order in which they came."""
        return tuple(self._held.get(person, ()))

    def last_id(self, person: str) -> str | None:
        """The id of the newest message that is not the owner's own."""
        return next((n.id for n in reversed(self.of(person)) if not n.mine and not n.by_mail), None)

    def people(self) -> tuple[str, ...]:
        """Everybody who holds something, by id."""
        return tuple(sorted(self._held))


def body_lines(text: str, headline: str, link: str | None) -> tuple[str, ...]:
    """The lines of a message without its headline and its link, which are shown apart."""
    lines = [line.strip() for line in text.splitlines()]
    if lines and lines[0] == headline:
        lines = lines[1:]
    return tuple(line for line in lines if line and line != link)
