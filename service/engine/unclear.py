"""Words that were not clear, for the coordinator: asked back, put aside, from nobody we know (invariant 5)."""

from dataclasses import dataclass
from datetime import timedelta

from service.core.mail import Kind
from service.engine import automatic
from service.engine.desk import Moment
from service.engine.roles import home
from service.languages import N_, gettext
from service.store import inbox
from service.store.tables import InboxRow

SHOWN_FOR = timedelta(hours=12)
"""A school day's worth."""

UNTOLD = (Kind.RECEIPT, Kind.DELAYED)
"""Mail that tells a person nothing they could act on."""

FATES = {
    Kind.AWAY: N_("put aside, an automatic answer: away; the next was asked at once"),
    Kind.FAILED: N_("put aside, a message could not be delivered; the next was told at once"),
}

NOTHING = N_("put aside, nothing recorded from it")

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
    asides = [row for row in rows if row.state == "aside" and automatic.kind(row) not in UNTOLD]
    return tuple(_shown(m, row) for row in rows if row in asides or row.body.get("unclear"))


def _shown(m: Moment, row: InboxRow) -> Unclear:
    person = m.district.people.get(row.person or "")
    school = home(m, person.id) if person else next(iter(m.district.schools))
    words = row.text if len(row.text) <= LONGEST else row.text[:LONGEST] + " …"
    kind = automatic.kind(row)
    aside = FATES.get(kind, NOTHING) if kind else NOTHING
    fate = aside if row.state == "aside" else N_("asked back")
    who = person.name if person else gettext("somebody we do not know")
    shown = " ".join(words.split()) or gettext("no words; what may be attached is not opened")
    return Unclear(m.wall(school, row.received_at), who, shown, gettext(fate))
