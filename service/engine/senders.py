"""Whose address it is that a message comes from."""

from collections.abc import Mapping

from service.channels.options import reveal
from service.channels.protocol import Secrets
from service.core.district import District

Known = Mapping[tuple[str, str], str]
"""Whose address on which channel it is, small letters throughout."""


class Senders:
    """Everybody's addresses, made out once for a configuration; the first whose address it is counts."""

    def __init__(self, secrets: Secrets) -> None:
        self._secrets = secrets
        self._known: tuple[District, Known] | None = None

    def of(self, district: District) -> Known:
        """The people by channel and address."""
        if self._known is None or self._known[0] is not district:
            found: dict[tuple[str, str], str] = {}
            for person in district.people.values():
                for way in person.channels:
                    address = self._revealed(way.address).casefold()
                    found.setdefault((way.channel, address), person.id)
            self._known = (district, found)
        return self._known[1]

    def _revealed(self, address: str) -> str:
        """Addresses that are secrets are compared by what they hold."""
        try:
            return reveal(address, self._secrets)
        except ValueError:
            return address
