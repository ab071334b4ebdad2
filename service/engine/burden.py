"""How much somebody is asked: the messages they got in a term, and how many of them needed them.

Alert fatigue is the enemy of a good answer, so everybody sees their own figures; nobody is ranked.
"""

from bisect import bisect_right
from dataclasses import dataclass
from datetime import date, datetime

from service.core.chains import Purpose
from service.core.days import instant
from service.core.zones import zone
from service.engine.desk import Moment
from service.engine.roles import home
from service.store import history

COUNTED = (
    Purpose.PROMPT,
    Purpose.REMINDER,
    Purpose.SECOND,
    Purpose.ALERT,
    Purpose.QUESTION,
    Purpose.CHAIN_END,
    Purpose.NEWS,
    Purpose.NO_CHECK,
)
"""Messages we began; answers to somebody's own words are not counted."""


@dataclass(frozen=True)
class Burden:
    """Messages since the term began, and how many of them this person answered before the next one came."""

    term: str
    since: date
    messages: int
    needed: int


def burden(m: Moment, person: str) -> Burden | None:
    """The figures of the running term at the person's own school; None between terms."""
    school = m.school(home(m, person))
    today = m.today(school.id)
    term = next((t for t in school.terms if t.holds(today)), None)
    if term is None:
        return None
    since = instant(term.first, datetime.min.time(), zone(school.zone))
    sent = history.message_times(m.tx, person, since, [p.value for p in COUNTED])
    replies = history.reply_times(m.tx, person, since)
    answered = {bisect_right(sent, at) for at in replies} - {0}
    return Burden(term.name, term.first, len(sent), len(answered))
