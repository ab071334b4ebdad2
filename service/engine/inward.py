"""The door for webhooks and presses: stored before it is answered, read afterwards. A webhook is judged by the
channel's envelope first; whose press it is the page has judged.

What comes in at the same time is stored in one commit; each is answered only after the commit that holds it.
"""

from collections.abc import Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from datetime import datetime

from service.channels.envelope import BODY_AT_MOST, Envelope, Refused, open_envelope
from service.channels.protocol import Secrets
from service.core.district import District
from service.engine import commands
from service.engine.desk import Desk
from service.engine.senders import Known, Senders
from service.engine.together import Together

__all__ = ["BODY_AT_MOST", "Arrival", "Inward", "Refused", "Taken"]

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
        self._senders = Senders(secrets)
        self._together = Together[Arrival | commands.Received, Taken | Refused](self._take_all)

    def take(self, arrival: Arrival) -> "Future[Taken | Refused]":
        """Judge and store one message; the answer is there once it is committed."""
        return self._together.ask(arrival)

    def store(self, received: commands.Received) -> Taken:
        """Store what is judged already; returns once it is committed."""
        taken = self._together.ask(received).result()
        if isinstance(taken, Refused):
            raise TypeError("only what is not judged yet can be refused")
        return taken

    def _take_all(self, came: Sequence[Arrival | commands.Received]) -> Sequence[Taken | Refused]:
        with self._desk.glance() as m:
            district = m.district
        senders = self._senders.of(district)
        opened = [each if isinstance(each, commands.Received) else self._open(district, senders, each) for each in came]
        received = [each for each in opened if isinstance(each, commands.Received)]
        stored = iter(commands.receive_all(self._desk, received) if received else ())
        return [each if isinstance(each, Refused) else Taken(*next(stored)) for each in opened]

    def _open(self, district: District, senders: Known, arrival: Arrival) -> commands.Received | Refused:
        setup = district.channels.get(arrival.channel)
        if setup is None:
            return Refused(404, "Not found", "There is no channel of that name.")
        opened = open_envelope(setup, arrival.headers, arrival.body, arrival.at, self._secrets, token=arrival.token)
        return _received(arrival.channel, opened, senders) if isinstance(opened, Envelope) else opened


def _received(channel: str, opened: Envelope, senders: Known) -> commands.Received:
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
