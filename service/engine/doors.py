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
from service.store import rounds, tray
from service.store.tables import CheckRow, RoundRow

TOKEN_BYTES = 24
"""192 bits of the HMAC-SHA256: more than the 128 that cannot be guessed, and short enough for a link."""

ASKING = frozenset({Purpose.PROMPT.value, Purpose.REMINDER.value, Purpose.SECOND.value})
"""Messages that ask for a check; who gets one opens the round, a deputy too."""


class Kind(Enum):
    """What a token opens; the words go into the HMAC, so that no token serves for another kind."""

    ROUND = "round"
    STANDING = "standing"
    REPLY = "reply"


@dataclass(frozen=True)
class Ended:
    """A genuine link of a day that is over."""

    school: str
    date: date


def token(key: bytes, kind: Kind, id: str, person: str, epoch: int) -> str:
    """The token for one person's page, url-safe, 32 characters."""
    parts = (kind.value, id, person, str(epoch))
    message = b"".join(len(p.encode()).to_bytes(4, "big") + p.encode() for p in parts)
    return base64.urlsafe_b64encode(hmac.digest(key, message, "sha256")[:TOKEN_BYTES]).decode()


def round_token(desk: Desk, tx: Session, round_id: str, person: str) -> str:
    """The token of a person's page of one round."""
    return token(desk.key, Kind.ROUND, round_id, person, tray.epoch(tx, person))


def standing_token(desk: Desk, tx: Session, person: str) -> str:
    """The token of a person's standing page."""
    return token(desk.key, Kind.STANDING, "", person, tray.epoch(tx, person))


def reply_token(desk: Desk, tx: Session, round_id: str, person: str) -> str:
    """The token in the address that a person answers a round to by mail."""
    return token(desk.key, Kind.REPLY, round_id, person, tray.epoch(tx, person))


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


def is_reply_token(m: Moment, round_id: str, person: str, offered: str) -> bool:
    """Whether a mail's reply address was made for this person and round."""
    return _same(offered, reply_token(m.desk, m.tx, round_id, person)) and serves(m, person)


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
    """What a message opens: its link, whole, and the token of the address that answers to its round go to."""

    link: str
    reply_token: str | None


def openings(m: Moment, errands: Sequence[Errand], base_url: str) -> list[Opening]:
    """What each of these messages opens. Its link goes to the reader's own round, else to their standing page, else
    to the board.

    Where many read the channel no link opens a person's standing page.
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
        reply = token(m.desk.key, Kind.REPLY, errand.round, errand.person, epoch) if errand.round else None
        made.append(Opening(link, reply))
    return made


def _round_path(m: Moment, errand: Errand, epoch: int) -> str:
    opens = token(m.desk.key, Kind.ROUND, errand.round or "", errand.person, epoch)
    return f"/r/{errand.round}/{errand.person}/{opens}"


def _own_path(m: Moment, errand: Errand, epoch: int) -> str:
    setup = m.district.channels.get(errand.channel)
    known = errand.person in m.district.people
    if not known or (setup is not None and setup.shared) or not has_students(m, errand.person):
        return "/board"
    return f"/s/{errand.person}/{token(m.desk.key, Kind.STANDING, '', errand.person, epoch)}"


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
