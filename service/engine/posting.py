"""Puts one message into the outbox: whom, by which ways, under which key."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from service.core.chains import Purpose
from service.core.district import Person, Reachable
from service.engine.desk import Moment
from service.store import outbox, tray
from service.store.batches import change
from service.wording import Written

MESSAGES = "messages"
"""The journal stream of messages that belong to no school's day."""


@dataclass(frozen=True)
class ItemRef:
    """A numbered item of a message (C19): what the number stands for when somebody answers."""

    number: int
    check: str | None
    chase: str | None
    student: str | None
    round: str | None


@dataclass(frozen=True)
class Parcel:
    """A message to be stored. `after` names the message that must leave before this one; `round` is the one its
    link opens, by default the first among its items; `stream` is where the journal tells of it.
    """

    key: str
    person: str
    role: str
    purpose: Purpose
    written: Written
    items: tuple[ItemRef, ...] = ()
    chases: tuple[str, ...] = ()
    channels: tuple[str, ...] = ()
    give_up_at: datetime | None = None
    after: str | None = None
    in_reply_to: str | None = None
    via: str | None = None
    cause: tuple[str, ...] = ()
    stream: str = MESSAGES
    about: dict[str, Any] = field(default_factory=dict)
    round: str | None = None


def message_id(key: str) -> str:
    """The id that becomes `webhook-id` and `Message-ID`."""
    return "msg-" + hashlib.sha256(key.encode()).hexdigest()[:12]


def post(m: Moment, parcel: Parcel) -> str:
    """Store the message once by its key and say its id; a person who cannot be reached keeps it undelivered."""
    return post_all(m, [parcel])[0]


def post_all(m: Moment, parcels: Sequence[Parcel]) -> list[str]:
    """The same for many messages at once."""
    addressees = tray.lock_people(m.tx, {parcel.person for parcel in parcels})
    made = {parcel.key: _message(m, parcel) for parcel in parcels}
    new = outbox.put(m.tx, {parcel.key: (made[parcel.key], parcel.chases) for parcel in parcels})
    for parcel in parcels:
        if parcel.key in new:
            _note(m, parcel, made[parcel.key])
        if parcel.key in new and made[parcel.key]["state"] == "waiting":
            change(m.tx, addressees[parcel.person], last_at=m.now)
            m.last_sent[parcel.person] = m.now
    return [message_id(parcel.key) for parcel in parcels]


def _message(m: Moment, parcel: Parcel) -> dict[str, Any]:
    ways = ways_of(m, m.district.people[parcel.person], parcel.channels, parcel.via)
    first = ways[0] if ways else Reachable("", "")
    return {
        "id": message_id(parcel.key),
        "key": parcel.key,
        "person": parcel.person,
        "role": parcel.role,
        "channel": first.channel,
        "address": first.address,
        "purpose": parcel.purpose.value,
        "subject": parcel.written.subject,
        "lock_line": parcel.written.lock_line,
        "text": parcel.written.text,
        "thread": parcel.round or next((i.round for i in parcel.items if i.round), None),
        "in_reply_to": parcel.in_reply_to,
        "body": _body(parcel, ways),
        "created_at": m.now,
        "next_at": m.now,
        "give_up_at": parcel.give_up_at or m.now + timedelta(hours=2),
        "state": "waiting" if ways else "refused",
        "owner": None,
        "lease_until": None,
        "attempts": 0,
        "accepted_at": None,
        "outcome": None if ways else "no way to reach",
        "after_id": parcel.after,
    }


def _note(m: Moment, parcel: Parcel, message: Mapping[str, Any]) -> None:
    """Tell the journal that a message lies in the outbox, and why."""
    m.note(
        parcel.stream,
        "put out",
        message["id"],
        parcel.cause,
        None,
        key=parcel.key,
        to=parcel.person,
        purpose=parcel.purpose.value,
        state=message["state"],
    )


def ways_of(
    m: Moment, person: Person, channels: Sequence[str] = (), via: str | None = None
) -> tuple[Reachable, ...]:
    """The person's working ways in their order of preference; `via` is the one they have just used.

    What answers words said in private is not told where many read, even when the private way fails.
    """
    ways = [w for w in person.channels if f"gone/{person.id}/{w.channel}" not in m.gone]
    narrowed = [w for w in ways if not channels or w.channel in channels] or ways
    if any(w.channel == via and not is_shared(m, w) for w in narrowed):
        narrowed = [w for w in narrowed if not is_shared(m, w)]
    return tuple(sorted(narrowed, key=lambda w: w.channel != via))


def is_shared(m: Moment, way: Reachable) -> bool:
    """Whether many read what goes this way."""
    setup = m.district.channels.get(way.channel)
    return setup is not None and setup.shared


def _body(parcel: Parcel, ways: Sequence[Reachable]) -> dict[str, Any]:
    rounds = dict.fromkeys(i.round for i in parcel.items if i.round)
    students = dict.fromkeys(i.student for i in parcel.items if i.student)
    return {
        "ways": [[w.channel, w.address] for w in ways],
        "items": [vars(i) for i in parcel.items],
        "rounds": list(rounds),
        "students": list(students),
        "chases": list(parcel.chases),
        "cause": list(parcel.cause),
        "about": parcel.about,
        "stream": parcel.stream,
    }
