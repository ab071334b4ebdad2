"""The door for webhooks: judged by the channel's envelope, stored before it is answered, read afterwards."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from service.channels.envelope import BODY_AT_MOST, Refused, open_envelope
from service.channels.options import reveal
from service.channels.protocol import Secrets
from service.engine import commands
from service.engine.desk import Desk, Moment

__all__ = ["BODY_AT_MOST", "Refused", "Taken", "take"]


@dataclass(frozen=True)
class Taken:
    """A stored message; `new` is False for one that came before, which is answered as the first was."""

    id: str
    new: bool


def take(
    desk: Desk,
    channel: str,
    headers: Mapping[str, str],
    body: bytes,
    at: datetime,
    secrets: Secrets,
    token: str | None = None,
) -> Taken | Refused:
    """Judge and store one message that came to a channel's address at the real instant `at`."""
    with desk.glance() as m:
        setup = m.district.channels.get(channel)
    if setup is None:
        return Refused(404, "Not found", "There is no channel of that name.")
    opened = open_envelope(setup, headers, body, at, secrets, token=token)
    if isinstance(opened, Refused):
        return opened
    with desk.glance() as m:
        person = _sender(m, channel, opened.from_address, secrets)
    id, new = commands.receive(
        desk,
        commands.Received(
            channel=channel,
            external_id=opened.id,
            address=opened.from_address,
            text=opened.text,
            person=person,
            in_reply_to=opened.in_reply_to,
            proven=opened.proven,
            truncated=opened.truncated,
        ),
    )
    return Taken(id, new)


def _sender(m: Moment, channel: str, address: str, secrets: Secrets) -> str | None:
    """Whose address this is; addresses that are secrets are compared by what they hold."""
    wanted = address.casefold()
    for person in m.district.people.values():
        for way in person.channels:
            if way.channel == channel and _revealed(way.address, secrets).casefold() == wanted:
                return person.id
    return None


def _revealed(address: str, secrets: Secrets) -> str:
    try:
        return reveal(address, secrets)
    except ValueError:
        return address
