"""The channels of the configuration in force."""

import asyncio

from service.channels.protocol import ChannelError
from service.channels.silent import SilentChannel
from service.core.district import ChannelSetup
from service.engine.carriers import Carriers


def test_only_channels_whose_settings_changed_are_built_again_and_a_bad_one_spoils_no_other() -> None:
    built: list[str] = []

    def make(setup: ChannelSetup) -> SilentChannel:
        if setup.kind == "bad":
            raise ChannelError(setup.name, ["no such kind"])
        built.append(setup.name)
        return SilentChannel()

    async def play() -> None:
        carriers = Carriers(make)
        one, two = ChannelSetup("one", "webhook"), ChannelSetup("two", "webhook")
        await carriers.fit({"one": one, "two": two, "three": ChannelSetup("three", "bad")})
        await carriers.fit({"one": one, "two": ChannelSetup("two", "webhook", shared=True)})
        assert built == ["one", "two", "two"]
        assert carriers.get("three") == "there is no such channel any more"
        await carriers.close()

    asyncio.run(play())
