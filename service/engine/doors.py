"""Links that open a page for one person: made when a message is sent, kept nowhere, checked in constant time.

A token is an HMAC over what it opens, for whom, and the person's epoch; raising the epoch revokes every link
the person was ever sent. A link to a round ends with the round's day.
"""

import base64
import hmac
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import Enum

from sqlmodel import Session

from service.core.chains import Purpose
from service.core.district import Person
from service.engine.desk import Desk, Moment
from service.engine.postman import Errand
from service.engine.roles import home
from service.store import inbox, outbox, rounds, tray
from service.store.tables import CheckRow, InboxRow, OutboxRow, RoundRow

TOKEN_BYTES = 24
"""192 bits of the HMAC-SHA256: more than the 128 that cannot be guessed, and short enough for a link."""

REPLY_BYTES = 16
"""128 bits: a mail address has room for 64 characters before its @."""

MESSAGE = "msg-"
"""What the ids of our messages begin with."""

ASKING = frozenset({Purpose.PROMPT.value, Purpose.REMINDER.value, Purpose.SECOND.value})
"""Messages that ask for a check; who gets one opens the round, a deputy too."""


class Kind(Enum):
    """What a token opens; the words go into the HMAC, so that no token serves for another kind."""

    ROUND = "round"
    STANDING = "standing"
    REPLY = "reply"
    TYPED = "typed"


@dataclass(frozen=True)
class Ended:
    """A genuine link of a day that is over."""

    school: str
    date: date


def token(key: bytes, kind: Kind, id: str, person: str, epoch: int) -> str:
    """The token for one person's page, url-safe, 32 characters."""
    proof = hmac.digest(key, _joined(kind, id, person, epoch), "sha256")[:TOKEN_BYTES]
    return base64.urlsafe_b64encode(proof).decode()


def _joined(kind: Kind, id: str, person: str, epoch: int) -> bytes:
    parts = (kind.value, id, person, str(epoch))
    return b"".join(len(p.encode()).to_bytes(4, "big") + p.encode() for p in parts)


def round_token(desk: Desk, tx: Session, round_id: str, person: str) -> str:
    """The token of a person's page of one round."""
    return token(desk.key, Kind.ROUND, round_id, person, tray.epoch(tx, person))


def standing_token(desk: Desk, tx: Session, person: str) -> str:
    """The token of a person's standing page."""
    return token(desk.key, Kind.STANDING, "", person, tray.epoch(tx, person))


def reply_tag(key: bytes, message: str, about: str, person: str, epoch: int) -> str:
    """What stands behind the + of the address that a message is answered to: which message, and an HMAC over the
    round it is `about` (or itself, without one), the person and their epoch. In small letters and digits, since
    mail programs change the case of addresses.
    """
    proof = hmac.digest(key, _joined(Kind.REPLY, about, person, epoch), "sha256")[:REPLY_BYTES]
    return f"{message.removeprefix(MESSAGE)}-{base64.b32encode(proof).decode().rstrip('=').lower()}"


def open_round(m: Moment, round_id: str, person: str, offered: str) -> RoundRow | Ended | None:
    """The round behind a link; `Ended` where its day is over, None where the link is not genuine."""
    genuine = _same(offered, round_token(m.desk, m.tx, round_id, person))
    row = rounds.get(m.tx, round_id)
    if not genuine or row is None or not serves(m, person) or row.school not in m.district.schools:
        return None
    return row if m.today(row.school) <= row.date else Ended(row.school, row.date)


def open_standing(m: Moment, person: str, offered: str) -> Person | None:
    """The person whose standing page a link opens; None where it is not genuine or was revoked."""
    genuine = _same(offered, standing_token(m.desk, m.tx, person))
    return m.district.people[person] if genuine and serves(m, person) else None


def open_typed(m: Moment, id: str, person: str, offered: str) -> InboxRow | Ended | None:
    """The message behind a link to words as they were typed; `Ended` where its day is over, None where the link is
    not genuine or its reader is no coordinator there any more.
    """
    genuine = _same(offered, token(m.desk.key, Kind.TYPED, id, person, tray.epoch(m.tx, person)))
    row = inbox.get(m.tx, id)
    if not genuine or row is None or row.person not in m.district.people or not serves(m, person):
        return None
    school, on = day_of(m, row)
    if person not in m.district.coordinators(school):
        return None
    return row if m.today(school) <= on else Ended(school, on)


def day_of(m: Moment, row: InboxRow) -> tuple[str, date]:
    """The school and the day that a received message belongs to."""
    asked = rounds.get(m.tx, row.round_id) if row.round_id else None
    if asked is not None and asked.school in m.district.schools:
        return asked.school, asked.date
    school = home(m, str(row.person))
    return school, m.today_at(school, row.received_at)


def typed_path(m: Moment, id: str, person: str) -> str:
    """The path of the page that shows somebody's words as they were typed."""
    return f"/w/{id}/{person}/{token(m.desk.key, Kind.TYPED, id, person, tray.epoch(m.tx, person))}"


def reply_tag_of(m: Moment, row: OutboxRow) -> str:
    """The tag of the address that a message of ours is answered to."""
    about = row.thread or row.id
    return reply_tag(m.desk.key, row.id, about, row.person, tray.epoch(m.tx, row.person))


def answered_by(m: Moment, offered: str) -> OutboxRow | None:
    """The message whose reply address bears this tag; None where the tag is not genuine or was revoked."""
    row = outbox.get(m.tx, MESSAGE + offered.partition("-")[0])
    return row if row is not None and _same(offered, reply_tag_of(m, row)) else None


def revoke(m: Moment, person: str) -> int:
    """Close every link the person was ever sent; says the new epoch."""
    row = tray.lock_person(m.tx, person)
    row.epoch += 1
    m.tx.add(row)
    m.note("doors", "doors", person, [], None, epoch=row.epoch)
    return row.epoch


def round_path(m: Moment, round_id: str, person: str) -> str:
    """The path of a person's page of a round."""
    return f"/r/{round_id}/{person}/{round_token(m.desk, m.tx, round_id, person)}"


def standing_path(m: Moment, person: str) -> str:
    """The path of a person's standing page."""
    return f"/s/{person}/{standing_token(m.desk, m.tx, person)}"


@dataclass(frozen=True)
class Opening:
    """What a message opens: its link, whole, and the tag of the address that answers to it go to."""

    link: str
    reply_tag: str


def openings(m: Moment, errands: Sequence[Errand], base_url: str) -> list[Opening]:
    """What each of these messages opens. Its link goes to the words it tells of, else to the reader's own round, else
    to their standing page, else to the board.

    Where many read the channel no link opens a person's standing page, or words.
    """
    base = base_url.rstrip("/")
    epochs = tray.epochs(m.tx, {errand.person for errand in errands})
    held = rounds.by_id(m.tx, {errand.round for errand in errands if errand.round})
    told = {e.round for e in errands if e.round in held and e.purpose not in ASKING}
    checks = rounds.checks_of_rounds(m.tx, {id for id in told if id})
    made = []
    for errand in errands:
        row, epoch = held.get(errand.round or ""), epochs.get(errand.person, 0)
        asks = row is not None and (
            errand.purpose in ASKING or _is_asked(row, checks.get(row.id, ()), errand.person)
        )
        link = base + (_round_path(m, errand, epoch) if asks else _own_path(m, errand, epoch))
        if errand.typed is not None and not _is_shared(m, errand):
            link = base + typed_path(m, errand.typed, errand.person)
        about = errand.round or errand.id
        made.append(Opening(link, reply_tag(m.desk.key, errand.id, about, errand.person, epoch)))
    return made


def _round_path(m: Moment, errand: Errand, epoch: int) -> str:
    opens = token(m.desk.key, Kind.ROUND, errand.round or "", errand.person, epoch)
    return f"/r/{errand.round}/{errand.person}/{opens}"


def _own_path(m: Moment, errand: Errand, epoch: int) -> str:
    known = errand.person in m.district.people
    if not known or _is_shared(m, errand) or not has_students(m, errand.person):
        return "/board"
    return f"/s/{errand.person}/{token(m.desk.key, Kind.STANDING, '', errand.person, epoch)}"


def _is_shared(m: Moment, errand: Errand) -> bool:
    setup = m.district.channels.get(errand.channel)
    return setup is not None and setup.shared


def has_students(m: Moment, person: str) -> bool:
    """Whether some student is checked by, or a child of, this person."""
    return any(concerns(m, s, person) for s in m.district.students)


def concerns(m: Moment, student: str, person: str) -> bool:
    """Whether the person checks the student, stands in for a checker, or is the guardian."""
    held = m.district.students[student]
    if person in held.guardians:
        return True
    return any(person in (r.checker, r.second) for r in held.routines)


def _is_asked(row: RoundRow, checks: Iterable[CheckRow], person: str) -> bool:
    return person in {row.checker, row.second, *(check.body.get("second") for check in checks)}


def serves(m: Moment, person: str) -> bool:
    """Whether the person is still one of ours today; who has left opens no door and settles nothing."""
    held = m.district.people.get(person)
    return held is not None and (held.left_on is None or held.left_on > m.now.date())


def _same(offered: str, right: str) -> bool:
    return hmac.compare_digest(offered.encode("utf-8", "replace"), right.encode())
