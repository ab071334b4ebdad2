"""Takes raw mail in for a desk, whichever door it came by: stored before anybody interprets its words.

What a mail says of itself (who wrote it, what it answers, whether a program sent it) is made out in the
transaction that stores it; a mail at which that fails is stored all the same, for a person to look at.
"""

import hashlib
import logging
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from service.channels.mime import open_mail
from service.channels.protocol import Secrets
from service.core.district import ChannelSetup
from service.core.mail import Kind, Mail, kind_of
from service.engine import commands
from service.engine.automatic import facts_of
from service.engine.commands import Received
from service.engine.desk import Desk, Moment
from service.engine.inward import Taken
from service.engine.mail_routes import Route, route
from service.engine.senders import Known, Senders
from service.engine.stumbling import OURS
from service.engine.trouble import place_of

ID_AT_MOST = 200

log = logging.getLogger(__name__)


class Mailroom:
    """Takes mails in for the channels of kind email; `secrets` holds what addresses name."""

    def __init__(self, desk: Desk, secrets: Secrets) -> None:
        self._desk = desk
        self._senders = Senders(secrets)

    def take(self, channel: str, raw: bytes) -> Taken:
        """Store one mail; the answer is there once it is committed. KeyError where there is no such channel."""
        return self.take_all(channel, [raw])[0]

    def take_all(self, channel: str, raws: Sequence[bytes]) -> list[Taken]:
        """Store several mails in one commit. KeyError where there is no such channel of kind email."""
        mails = [(open_mail(raw), hashlib.sha256(raw).hexdigest()[:40]) for raw in raws]
        with self._desk.moment() as m:
            setup = m.district.channels[channel]
            if setup.kind != "email":
                raise KeyError(channel)
            known = self._senders.of(m.district)
            return [_store(m, _received(m, mail, digest, setup, known), digest) for mail, digest in mails]


def _store(m: Moment, received: Received, digest: str) -> Taken:
    """Store a mail once. One that bears the id of another, with other words, is another mail."""
    ((row, new),) = commands.store_all(m, [received])
    if not new and row.text != received.text and not row.truncated and row.text:
        ((row, new),) = commands.store_all(m, [replace(received, external_id=_own_id(digest))])
    return Taken(row.id, new)


def _own_id(digest: str) -> str:
    return f"sha256-{digest}"


def _received(m: Moment, mail: Mail, digest: str, setup: ChannelSetup, known: Known) -> Received:
    kind, found, facts = _judged(m, mail, setup, known)
    return Received(
        channel=setup.name,
        external_id=mail.id if mail.id and len(mail.id) <= ID_AT_MOST else _own_id(digest),
        address=mail.sender,
        text=mail.text,
        person=found.person,
        in_reply_to=found.message,
        proven=found.proven,
        truncated=mail.truncated,
        round_id=found.round,
        facts={"mail": {"kind": kind.value, **_told(found), **facts}},
    )


def _judged(
    m: Moment, mail: Mail, setup: ChannelSetup, known: Known
) -> tuple[Kind, Route, dict[str, Any]]:
    try:
        kind = kind_of(mail)
        return kind, route(m, mail, setup, known), facts_of(m, mail, kind)
    except OURS:
        raise
    except Exception as failure:
        log.error("a mail was stored without being understood: %s", place_of(failure))
        return Kind.AUTOMATIC, Route(None), {}


def _told(found: Route) -> dict[str, Any]:
    told = {"stands_in": found.stands_in, "unclear": found.unclear}
    return {name: True for name, holds in told.items() if holds}
