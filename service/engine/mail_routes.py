"""Who a mail is from and which of our messages it answers.

In this order: the ids it answers, the address it came to, the mark in its subject; without any of them the sender
and the time decide as for any message (`context`). Two of them that disagree decide nothing.

**What proves a sender.** The tag of the reply address, which only who got the message (or was handed it) can know,
together with an address of ours in `From`; or, where the channel names our own mail server, that server's word that
the sender's domain passed. The first does not keep one colleague from writing in the name of another to whom
they were handed the mail; the second does not tell people of one domain apart. What is proven by neither can
raise an alarm and never lower one (C21).
"""

from dataclasses import dataclass
from datetime import timedelta

from service.channels.letter import mark_in, mark_of
from service.core.district import ChannelSetup
from service.core.mail import Mail, vouched
from service.engine import doors
from service.engine.desk import Moment
from service.engine.roles import home, is_staff
from service.engine.senders import Known
from service.store import outbox, rounds
from service.store.tables import OutboxRow

ROUND = "rd-"
SUBJECTS_FOR = timedelta(hours=36)
"""How far back a subject's mark is looked for."""


@dataclass(frozen=True)
class Route:
    """Where a mail belongs. `person` is who wrote it, None for somebody we do not know; `message` the one of ours
    that it answers, `round` the round where it names no message. `stands_in`: they answer for whom it was sent to.
    `unclear`: what it says of itself does not agree.
    """

    person: str | None
    message: str | None = None
    round: str | None = None
    stands_in: bool = False
    proven: bool = False
    unclear: bool = False


def route(m: Moment, mail: Mail, setup: ChannelSetup, known: Known) -> Route:
    """Where a mail that came to the channel `setup` belongs."""
    writer = known.get((setup.name, mail.sender.casefold())) if mail.sender else None
    server = setup.options.get("own server")
    trusted = server is not None and vouched(mail, str(server))
    by_tag = _by_address(m, mail)
    by_id = _by_reference(m, mail, setup)
    if by_tag is not None and by_id is not None and _about(by_tag) != _about(by_id):
        return Route(writer, proven=trusted and writer is not None, unclear=True)
    answered = by_id or by_tag or _by_subject(m, mail, writer)
    if answered is None:
        return Route(writer, round=_round(m, mail, setup, writer), proven=trusted and writer is not None)
    if writer is None:
        # The tag shows that it comes from somebody who was handed the message: their words may alarm, no more.
        return Route(answered.person, answered.id) if by_tag is not None else Route(None)
    if writer != answered.person and not _may_answer(m, writer, answered):
        return Route(writer, proven=trusted)
    proven = trusted or (by_tag is not None and _is_of_today(m, by_tag))
    return Route(writer, answered.id, stands_in=writer != answered.person, proven=proven)


def _about(row: OutboxRow) -> tuple[str, str]:
    return row.thread or row.id, row.person


def _by_address(m: Moment, mail: Mail) -> OutboxRow | None:
    """The message whose reply address, tag and all, the mail came to."""
    tags = (address.partition("@")[0].rpartition("+")[2] for address in mail.recipients)
    return next((row for tag in tags if "-" in tag and (row := doors.answered_by(m, tag))), None)


def _by_reference(m: Moment, mail: Mail, setup: ChannelSetup) -> OutboxRow | None:
    """The nearest of the messages that the mail says it answers."""
    own = (id for id in _own_ids(mail, setup) if id.startswith(doors.MESSAGE))
    return next((row for id in own if (row := outbox.get(m.tx, id))), None)


def _own_ids(mail: Mail, setup: ChannelSetup) -> list[str]:
    """The ids of ours among those it answers: they bear the domain that our mails come from."""
    domain = str(setup.options.get("from", "")).strip("<> ").rpartition("@")[2].lower()
    split = (id.rpartition("@") for id in mail.answers)
    return [local for local, _, theirs in split if theirs.lower() == domain]


def _round(m: Moment, mail: Mail, setup: ChannelSetup, writer: str | None) -> str | None:
    """The round of the thread, where its message is not known; only for who is asked in it."""
    for id in _own_ids(mail, setup):
        row = rounds.get(m.tx, id) if id.startswith(ROUND) else None
        if row is not None and writer in (row.checker, row.second):
            return row.id
    return None


def _by_subject(m: Moment, mail: Mail, writer: str | None) -> OutboxRow | None:
    mark = mark_in(mail.subject)
    if mark is None or writer is None:
        return None
    recent = outbox.recent_to(m.tx, writer, m.now - SUBJECTS_FOR)
    return next((row for row in recent if mark_of(doors.reply_tag_of(m, row)) == mark), None)


def _may_answer(m: Moment, writer: str, answered: OutboxRow) -> bool:
    """Whether somebody may answer in another's place: staff of the school that the round is at."""
    row = rounds.get(m.tx, answered.thread) if answered.thread else None
    if row is None or not doors.serves(m, writer) or not is_staff(m, writer):
        return False
    return any(not role.schools or row.school in role.schools for role in m.district.people[writer].roles)


def _is_of_today(m: Moment, row: OutboxRow) -> bool:
    """A reply address ends with the day of its round; without a round with the day it was sent on."""
    asked = rounds.get(m.tx, row.thread) if row.thread else None
    if asked is not None:
        return asked.school in m.district.schools and m.today(asked.school) <= asked.date
    if row.person not in m.district.people:
        return False
    school = home(m, row.person)
    return m.today(school) == m.today_at(school, row.created_at)
