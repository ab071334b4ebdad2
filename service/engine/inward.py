"""The door for webhooks: judged by the channel's envelope, stored before it is answered, read afterwards.

What comes in at the same time is stored in one commit; each message is answered only after the commit that holds it.
"""

from collections.abc import Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from datetime import datetime

from service.channels.envelope import BODY_AT_MOST, Envelope, Refused, open_envelope
from service.channels.options import reveal
from service.channels.protocol import Secrets
from service.core.district import District
from service.engine import commands
from service.engine.desk import Desk
from service.engine.together import Together

__all__ = ["BODY_AT_MOST", "Arrival", "Inward", "Refused", "Taken"]

Senders = Mapping[tuple[str, str], str]
"""Whose address on which channel it is, small letters throughout."""


@dataclass(frozen=True)
class Taken:
    """A stored message; `new` is False for one that came before, which is answered as the first was."""

    id: str
    new: bool


@dataclass(frozen=True)
class Arrival:
    """What came to a channel's address at the real instant `at`; `token` is that of the address, if it has one."""

    channel: str
    headers: Mapping[str, str]
    body: bytes
    at: datetime
    token: str | None = None


class Inward:
    """Takes messages in for a desk; `secrets` holds what channels and addresses name."""

    def __init__(self, desk: Desk, secrets: Secrets) -> None:
        self._desk, self._secrets = desk, secrets
        self._known: tuple[District, Senders] | None = None
        self._together = Together(self._take_all)

    def take(self, arrival: Arrival) -> "Future[Taken | Refused]":
        """Judge and store one message; the answer is there once it is committed."""
        return self._together.ask(arrival)

    def _take_all(self, arrivals: Sequence[Arrival]) -> Sequence[Taken | Refused]:
        with self._desk.glance() as m:
            district = m.district
        senders = self._senders(district)
        opened = [self._open(district, arrival) for arrival in arrivals]
        received = [
            _received(arrival.channel, envelope, senders)
            for arrival, envelope in zip(arrivals, opened, strict=True)
            if isinstance(envelope, Envelope)
        ]
        stored = iter(commands.receive_all(self._desk, received) if received else ())
        return [each if isinstance(each, Refused) else Taken(*next(stored)) for each in opened]

    def _open(self, district: District, arrival: Arrival) -> Envelope | Refused:
        setup = district.channels.get(arrival.channel)
        if setup is None:
            return Refused(404, "Not found", "There is no channel of that name.")
        return open_envelope(
            setup, arrival.headers, arrival.body, arrival.at, self._secrets, token=arrival.token
        )

    def _senders(self, district: District) -> Senders:
        """Everybody's addresses, made out once for a configuration; the first whose address it is counts."""
        if self._known is None or self._known[0] is not district:
            found: dict[tuple[str, str], str] = {}
            for person in district.people.values():
                for way in person.channels:
                    address = _revealed(way.address, self._secrets).casefold()
                    found.setdefault((way.channel, address), person.id)
            self._known = (district, found)
        return self._known[1]


def _received(channel: str, opened: Envelope, senders: Senders) -> commands.Received:
    return commands.Received(
        channel=channel,
        external_id=opened.id,
        address=opened.from_address,
        text=opened.text,
        person=senders.get((channel, opened.from_address.casefold())),
        in_reply_to=opened.in_reply_to,
        proven=opened.proven,
        truncated=opened.truncated,
    )


def _revealed(address: str, secrets: Secrets) -> str:
    """Addresses that are secrets are compared by what they hold."""
    try:
        return reveal(address, secrets)
    except ValueError:
        return address
