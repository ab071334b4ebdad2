"""What every way out of the service has in common: what is handed over, what comes of it, and how to ask.

A `Channel` is made once by `service.channels.factory.build`, used by the sending lanes, and closed at the
end. It keeps no state about messages: retries, deadlines and keys are the business of whoever calls it.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal, Protocol

Outcome = Literal["accepted", "refused", "timed_out", "gone", "deferred"]
Automatic = Literal["auto-generated", "auto-replied"]
Secrets = Callable[[str], str | None]
"""Gives the secret held under a name, or None where nothing is held under it."""

Stamp = Callable[[], datetime]
"""Gives the present real time (aware, UTC), for `webhook-timestamp` and `Date` only."""


class ChannelError(ValueError):
    """A channel cannot be built as it is set up. `wrongs` holds every reason, in plain words."""

    def __init__(self, channel: str, wrongs: Sequence[str]) -> None:
        """Remember the channel's name and everything that is wrong with it."""
        super().__init__(f"channel {channel}: " + "; ".join(wrongs))
        self.channel = channel
        self.wrongs = tuple(wrongs)


@dataclass(frozen=True)
class Parcel:
    """One message to one address, ready to send.

    `id` becomes `webhook-id` and the local part of `Message-ID`; it stays the same over retries and holds no
    full stop. `key` is the message's key in the outbox. `to_address` is the address as configured: a mail
    address, a web address, a word the channel's own address uses, or `env:NAME` for an address that is a
    secret. `text` and `html` are whole, their link filled in; `lock_line` is what a locked screen may show.
    `thread` is the id of the first message of the thread, `in_reply_to` that of the message answered, and
    `reply_token` goes into a mail's Reply-To. `at` is the instant of this attempt and `give_up_at` the one
    after which the message no longer matters, both on the service's clock. `fields` are further values that
    a template may name, as announced when the channel was built.
    """

    id: str
    key: str
    to_address: str
    subject: str
    lock_line: str
    text: str
    html: str | None
    link: str | None
    purpose: str
    thread: str | None
    in_reply_to: str | None
    reply_token: str | None
    at: datetime
    give_up_at: datetime | None
    automatic: Automatic = "auto-generated"
    fields: Mapping[str, str | int | None] = field(default_factory=dict)


@dataclass(frozen=True)
class Handover:
    """What came of one attempt.

    `accepted`: the other side has taken it. `refused`: it said no. `timed_out`: no answer came, so it may or
    may not have arrived. `gone`: the address is no longer in use and must not be used again. `deferred`: it
    asked us to come back later, after `retry_after` where it said when. `for_good`: another attempt at the
    same message is pointless. `detail` says more in plain words, without secrets, addresses or message text.
    """

    outcome: Outcome
    detail: str = ""
    retry_after: timedelta | None = None
    for_good: bool = False


class Channel(Protocol):
    """A way out. `at_once` is how many parcels it can usefully carry at the same time."""

    @property
    def at_once(self) -> int:
        """How many deliveries may run side by side; further ones wait their turn."""

    async def deliver(self, parcel: Parcel) -> Handover:
        """Try once, within the channel's attempt limit; raises nothing for what the other side does."""

    async def probe(self, to_address: str | None = None) -> Handover:
        """Reach the other side without a message; `to_address` where the channel itself has none."""

    async def close(self) -> None:
        """Let go of connections and threads; the channel is not used afterwards."""
