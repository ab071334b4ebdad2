"""Emergencies that are reported by chat or mail while the service is held.

Nobody is asked or told then; but who reports an emergency must not believe that others have been. So what comes in is
looked through, and they are answered with the caution text and that they have to tell the others themselves. This is
the one message that leaves. Nothing is decided by the look: the words stay unread, and are heard once the service
is released.
"""

from datetime import datetime

from service.engine import alarms, automatic, hearing
from service.engine.answering import caution_while_held
from service.engine.context import context_of
from service.engine.desk import Desk, Moment
from service.engine.held import Held, held
from service.engine.posting import Parcel, post_all
from service.store import inbox, marks
from service.store.tables import InboxRow

LOOKED_TO = "looked-to"
"""The mark that says how far what came in was looked through."""

BATCH = 50


def answer(desk: Desk, now: datetime) -> int:
    """Answer who has reported an emergency since it was last looked; says how many messages were looked at."""
    with desk.moment(now) as m:
        state = held(m.tx)
        if state is None or state.moved_to:
            return 0
        rows = _new(m, state)
        parcels = [parcel for row in rows if (parcel := _caution(m, row))]
        if parcels:
            post_all(m, parcels)
        if rows:
            marks.set(m.tx, LOOKED_TO, rows[-1].received_at, {"id": rows[-1].id})
        return len(rows)


def _new(m: Moment, state: Held) -> list[InboxRow]:
    """What came in since the service was held, and was not looked at yet."""
    mark = marks.get(m.tx, LOOKED_TO)
    if mark is None or mark.at is None or mark.at < state.until:
        return inbox.unread_since(m.tx, state.until, "", BATCH)
    return inbox.unread_since(m.tx, mark.at, str(mark.body["id"]), BATCH)


def _caution(m: Moment, row: InboxRow) -> Parcel | None:
    person = m.district.people.get(row.person or "")
    if person is None or automatic.is_from_a_program(row) or row.body.get("shown"):
        return None
    context = context_of(m, row)
    reading = hearing.reading_of(m, row, context)
    grave = reading.emergency or any(alarms.is_grave(m, outcome.faults) for outcome in reading.outcomes.values())
    return caution_while_held(m, row, context) if grave else None
