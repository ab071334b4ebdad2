"""The channels of the configuration in force, built once and again only where their settings change."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from service.channels.protocol import Channel, ChannelError
from service.core.district import ChannelSetup

Make = Callable[[ChannelSetup], Channel]
"""Builds a channel from its settings; raises `ChannelError` with everything that is wrong with them."""


@dataclass
class _Carrier:
    setup: ChannelSetup
    channel: Channel | None
    wrong: str


class Carriers:
    """The channels by name. One whose settings cannot be used says why, and the others work all the same.

    `tell` hears once of each that cannot be used.
    """

    def __init__(self, make: Make, tell: Callable[[str], None] | None = None) -> None:
        self._make = make
        self._tell = tell
        self._held: dict[str, _Carrier] = {}

    async def fit(self, setups: Mapping[str, ChannelSetup]) -> None:
        """Build what is new or changed, and close what is gone."""
        for name in [n for n, held in self._held.items() if setups.get(n) != held.setup]:
            await self._close(self._held.pop(name))
        for name, setup in setups.items():
            if name not in self._held:
                self._held[name] = self._built(setup)

    def get(self, name: str) -> Channel | str:
        """The channel of that name, or in plain words why there is none."""
        held = self._held.get(name)
        if held is None:
            return "there is no such channel any more"
        return held.channel or held.wrong

    def wrongs(self) -> dict[str, str]:
        """The channels that cannot be used, and why."""
        return {name: held.wrong for name, held in self._held.items() if held.channel is None}

    async def close(self) -> None:
        """Let go of every connection."""
        while self._held:
            await self._close(self._held.popitem()[1])

    def _built(self, setup: ChannelSetup) -> _Carrier:
        try:
            return _Carrier(setup, self._make(setup), "")
        except ChannelError as error:
            if self._tell is not None:
                self._tell(str(error))
            return _Carrier(setup, None, "; ".join(error.wrongs))

    @staticmethod
    async def _close(held: _Carrier) -> None:
        if held.channel is not None:
            await held.channel.close()
