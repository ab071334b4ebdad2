"""Words that were not clear, for the coordinator: asked back, put aside, from nobody we know (invariant 5)."""

from dataclasses import dataclass
from datetime import timedelta

from service.engine.desk import Moment
from service.engine.roles import home
from service.store import inbox
from service.store.tables import InboxRow

SHOWN_FOR = timedelta(hours=12)
"""A school day's worth."""

LONGEST = 300
"""Characters shown of a message."""


@dataclass(frozen=True)
class Unclear:
    """One message: when by the sender's school's clock, from whom, its words, and what became of it."""

    at: str
    who: str
    words: str
    fate: str


def unclear(m: Moment) -> tuple[Unclear, ...]:
    """Today's messages that a person should look at, newest first."""
    rows = inbox.since(m.tx, m.now - SHOWN_FOR)
    return tuple(_shown(m, row) for row in rows if row.state == "aside" or row.body.get("asked"))


def _shown(m: Moment, row: InboxRow) -> Unclear:
    person = m.district.people.get(row.person or "")
    school = home(m, person.id) if person else next(iter(m.district.schools))
    words = row.text if len(row.text) <= LONGEST else row.text[:LONGEST] + " …"
    fate = "put aside, nothing recorded from it" if row.state == "aside" else "asked back"
    who = person.name if person else "somebody we do not know"
    return Unclear(m.wall(school, row.received_at), who, " ".join(words.split()), fate)
