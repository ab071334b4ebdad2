"""Heads of the journal, to be kept outside the database: made once a day, and whenever one is asked for."""

from datetime import datetime

from service.engine.desk import Desk
from service.store import seals
from service.store.seals import Kept


def head(desk: Desk) -> Kept | None:
    """A head over all that the journal holds by now, to be kept elsewhere; None while it holds nothing.

    A heartbeat sends it, a backup stores it; `bellcheck verify --head` proves later that nothing it covers was cut
    off or rewritten. Where nothing was written since the last one, that one is it.
    """
    more = True
    while more:
        with desk.moment() as m:
            found, more = seals.seal(m.tx, desk.journal, m.now)
    return found


def daily(desk: Desk, now: datetime) -> None:
    """Make a head where none was made on this date (of UTC) yet: it covers the days before."""
    with desk.glance() as m:
        last = seals.last(m.tx)
    if last is None or last.at.date() < now.date():
        head(desk)
