"""What came of a check that did not end as it should: as the journal, the people and the receiver have it."""

from collections.abc import Iterator
from datetime import datetime

from sqlmodel import Session, select

from service.store.tables import InboxRow, JournalRow
from tests.faults.morning import World

SHOWN = ("id", "state", "result", "step", "purpose", "outcome", "reason")
"""What of a journal entry a story shows."""

Line = tuple[datetime, str]


def story(world: World, check: str) -> list[str]:
    """In the order of the morning, by the clock of the morning."""
    own = check.removeprefix("ck-")
    room = own.partition("-child")[0]
    people = {room, room.replace("room", "second")}
    with world.desk.store.reading() as tx:
        lines = [*_written(tx, own), *_said(tx, world, people), *_arrived(world, people)]
    return [f"{when:%H:%M:%S} {words}" for when, words in sorted(lines)]


def _written(tx: Session, own: str) -> Iterator[Line]:
    for row in tx.exec(select(JournalRow)):
        if own in str(row.body.get("id", "")) or own in str(row.body.get("chases", "")):
            shown = {k: v for k in SHOWN if (v := row.body.get(k)) is not None}
            yield row.at, f"{row.kind} {shown} because of {row.cause} by {row.actor or 'nobody'}"


def _said(tx: Session, world: World, people: set[str]) -> Iterator[Line]:
    acknowledged = world.outside.acknowledged
    for row in tx.exec(select(InboxRow)):
        if row.person in people:
            heard = next((at for id, at in acknowledged.items() if row.external_id.endswith(id)), None)
            until = f"acknowledged at {heard:%H:%M:%S}" if heard else "never acknowledged"
            yield row.received_at, f"{row.person} said something: {row.state}, {until}"


def _arrived(world: World, people: set[str]) -> Iterator[Line]:
    for arrival in world.outside.arrivals:
        if arrival.person in people:
            yield arrival.at, f"{arrival.purpose} {arrival.id} arrived with {arrival.person}"
