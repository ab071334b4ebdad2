"""Held: a service on a restored copy plans and takes what comes in, and neither asks nor tells until a person says so.
Who reports an emergency meanwhile is answered all the same (`held_alarms`).

What happened between the last heartbeat that the copy knows and the moment it was put in place nobody here knows:
who was asked and told in that time, and what they answered, is not in it. A database whose data was moved to another
is held as well, and what happens there nobody here knows either.
"""

import logging
from dataclasses import dataclass, replace
from datetime import datetime

from sqlmodel import Session

from service.core.chains import Purpose
from service.engine.desk import Desk, Moment
from service.store import identity, journal, marks, outbox
from service.store.tables import ServiceMark

HELD = "held"
MOVED = "held/moved"
RELEASED = "released"
INSTANCE = "instance"
HEARTBEAT = "heartbeat"
"""The mark that says when the service last ran."""

STREAM = "service"
"""The journal stream of what was done to the service itself."""

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Held:
    """From when to when nobody knows what was asked and told (`since` None: nothing ever was), and why. `moved_to` is
    where the data was moved to, if it was: then nobody knows what happened up to this day.
    """

    since: datetime | None
    until: datetime
    why: str
    moved_to: str | None = None


def held(tx: Session) -> Held | None:
    """Why and since when the service is held, if it is."""
    found = marks.with_prefix(tx, HELD)
    if not found or found[-1].at is None:
        return None
    # Moved comes after held, and says more.
    mark, at = found[-1], found[-1].at
    since = mark.body["since"]
    moved_to = mark.body.get("to")
    return Held(datetime.fromisoformat(since) if since else None, at, mark.body["why"], moved_to)


def cautions(state: Held) -> outbox.Only | None:
    """The messages that may leave while the service is held: caution texts to who has reported an emergency since.
    None where its data lies elsewhere by now.
    """
    return None if state.moved_to else outbox.Only(Purpose.CAUTION.value, state.until)


def held_now(m: Moment) -> Held | None:
    """The same at this moment: while the data lies elsewhere, the time that nobody knows of goes on."""
    found = held(m.tx)
    return replace(found, until=m.now) if found is not None and found.moved_to else found


def released_at(tx: Session) -> datetime | None:
    """When a person last released the service."""
    mark = marks.get(tx, RELEASED)
    return mark.at if mark else None


def hold(m: Moment, why: str, by: str | None) -> None:
    """Hold the service from now on. One that is held already stays as it is."""
    if held(m.tx) is not None:
        return
    beat = marks.get(m.tx, HEARTBEAT)
    since = (beat.at if beat else None) or journal.last_at(m.tx)
    from_then = since.isoformat() if since else None
    marks.set(m.tx, HELD, m.now, {"since": from_then, "why": why})
    m.note(STREAM, "held", HELD, [], by, since=from_then, until=m.now.isoformat(), why=why)


def move_away(m: Moment, to: str) -> None:
    """Hold the service because its data was moved to another database. The journal has told of it before."""
    beat = marks.get(m.tx, HEARTBEAT)
    since = beat.at.isoformat() if beat is not None and beat.at is not None else None
    marks.set(m.tx, MOVED, m.now, {"since": since, "why": f"its data was moved to {to}", "to": to})


def let_go(m: Moment) -> None:
    """Take away every reason for which the service is held."""
    for mark in marks.with_prefix(m.tx, HELD):
        marks.drop(m.tx, mark.key)


def look(desk: Desk) -> Held | None:
    """Hold the service where its database is another than the one it last ran on; says so if it is held."""
    with desk.moment() as m:
        why = _foreign(m)
        if why is not None:
            hold(m, why, None)
        return held(m.tx)


def count_beat(m: Moment) -> tuple[str, int]:
    """Count one more heartbeat of this database, where it lies now; what to write beside it after the commit."""
    known = marks.get(m.tx, INSTANCE)
    beside = identity.counted_beside(m.desk.store)
    instance = str(known.body["id"]) if known else m.desk.owner
    beats = max(known.body["beats"] if known else 0, beside[1] if beside else 0) + 1
    place = identity.place_on_server(m.tx)
    marks.set(m.tx, INSTANCE, None, {"id": instance, "beats": beats, "place": place})
    return instance, beats


def settle(desk: Desk) -> None:
    """From now on this database, where it lies now, is the one that is served from."""
    with desk.moment() as m:
        instance, beats = count_beat(m)
    identity.count_beside(desk.store, instance, beats)


def _foreign(m: Moment) -> str | None:
    """What shows that the database is a copy put in the place of another, or in another place."""
    known = marks.get(m.tx, INSTANCE)
    store = m.desk.store
    if store.in_memory:
        return None
    if store.dialect == "postgresql":
        if known is None:
            return None
        moved = known.body["place"] != identity.place_on_server(m.tx)
        return "the database lies elsewhere on the server than when it was last served from" if moved else None
    return _foreign_file(known, identity.counted_beside(store))


def _foreign_file(known: ServiceMark | None, beside: tuple[str, int] | None) -> str | None:
    if known is None:
        return "the file is older than what was last served from here" if beside else None
    if beside is None:
        return "the file was last served from in another place"
    if beside[0] != known.body["id"]:
        return "another database was served from in this place"
    older = beside[1] > known.body["beats"]
    return "the file is older than what was last served from here" if older else None


def banner(m: Moment) -> str:
    """The same line while the service is held, else nothing."""
    found = held(m.tx)
    return say(found) if found else ""


def say(found: Held) -> str:
    """One line for logs and health."""
    since = f"{found.since:%Y-%m-%d %H:%M}" if found.since else "never"
    if found.moved_to:
        return (
            f"held since {found.until:%Y-%m-%d %H:%M} UTC: {found.why}. Serve from there; if it is to be served from "
            "here again, and nobody serves from there any more, run `bellcheck release`"
        )
    return (
        f"held since {found.until:%Y-%m-%d %H:%M} UTC: {found.why}; last heard of {since} UTC. Nothing is asked or "
        "sent until somebody says so: run `bellcheck release`"
    )
