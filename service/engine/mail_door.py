"""The door for raw mail over HTTP: opened by the channel's token, stored before it is answered."""

import hmac
from collections.abc import Mapping

from service.channels.envelope import Refused
from service.channels.options import reveal_all
from service.channels.protocol import Secrets
from service.engine.desk import Desk, NotSetUp
from service.engine.inward import Taken
from service.engine.mailroom import Mailroom

NOT_ALLOWED = Refused(401, "Not allowed", "Send the channel's token as bearer token.")


class MailDoor:
    """Takes raw mail for channels of kind email; `secrets` holds their tokens."""

    def __init__(self, desk: Desk, secrets: Secrets) -> None:
        self._desk, self._secrets = desk, secrets
        self._room = Mailroom(desk, secrets)

    def serves(self, channel: str) -> bool:
        """Whether what comes to the channel is raw mail."""
        try:
            with self._desk.glance() as m:
                setup = m.district.channels.get(channel)
        except NotSetUp:
            return False
        return setup is not None and setup.kind == "email"

    def take(self, channel: str, authorization: str, body: bytes) -> Taken | Refused:
        """Judge and store one mail; it is committed when the answer is there."""
        kind, _, offered = authorization.partition(" ")
        if kind.lower() != "bearer" or not self._opens(channel, offered.strip()):
            return NOT_ALLOWED
        if not body.strip():
            return Refused(400, "No mail", "The body holds no mail; it would be right as message/rfc822.")
        return self._room.take(channel, body)

    def _opens(self, channel: str, offered: str) -> bool:
        with self._desk.glance() as m:
            inward = m.district.channels[channel].options.get("in")
        token = inward.get("token") if isinstance(inward, Mapping) else None
        try:
            held = reveal_all(token, self._secrets)
        except ValueError:
            return False
        given = offered.encode("utf-8", "replace")
        return any(hmac.compare_digest(given, each.encode()) for each in held)
