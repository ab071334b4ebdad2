"""The heartbeat that goes out: a monitor elsewhere is told at even intervals how the service does, in numbers.

It goes by a webhook of its own and by nothing that chases: what becomes of it is logged and shown, and the next beat
tries again. A monitor that hears nothing for a while raises the alarm by itself; that is what it is for.
"""

import asyncio
import logging
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from service.channels.protocol import Channel, ChannelError, Parcel
from service.core.district import ChannelSetup, Heartbeat
from service.engine import sealing
from service.engine.carriers import Make
from service.engine.desk import Desk, NotSetUp
from service.engine.figures import figures_of
from service.engine.health import health
from service.engine.held import held
from service.engine.trouble import place_of

LOOK_EVERY = timedelta(seconds=20)
"""A heartbeat that was just configured, or changed, is noticed within this real time."""

NUMBERS = ("due", "late", "sent", "failed", "open_chases", "unread", "oldest_unsent_seconds", "schools_without_rounds")
STATE = ("instance", "version", "well", "held", *NUMBERS, "head")
FIELDS = ("timestamp", *STATE)
"""What a beat says: nobody's name, no school's, no child's."""

TEMPLATE: Mapping[str, object] = {
    "type": "heartbeat",
    "timestamp": "{timestamp}",
    "data": {name: "{" + name + "}" for name in STATE},
}
"""The shape that Standard Webhooks recommends for what is sent (type, timestamp, data)."""

log = logging.getLogger(__name__)


def way_of(setup: ChannelSetup) -> ChannelSetup:
    """The webhook of a heartbeat, with what it says."""
    return replace(setup, options={**setup.options, "template": TEMPLATE})


class Monitor:
    """Tells the monitor that the configuration names, if it names one, until it is cancelled.

    `make` builds the channel, `stamp` is real time, `told` hears what is wrong with the way there (None: nothing).
    """

    def __init__(
        self, desk: Desk, make: Make, version: str, stamp: Callable[[], datetime], told: Callable[[str | None], None]
    ) -> None:
        self._desk, self._make, self._version = desk, make, version
        self._stamp, self._told = stamp, told
        self._wrong: str | None = None

    async def run(self) -> None:
        """Beat as long as the service runs. Nothing that goes wrong in here reaches anything else."""
        last: datetime | None = None
        while True:
            every = LOOK_EVERY
            try:
                setting = await asyncio.to_thread(self._setting)
                if setting is not None:
                    every = min(every, setting.every)
                    if last is None or self._stamp() - last >= setting.every:
                        last = self._stamp()
                        self._say(await self._beat(setting.channel))
                else:
                    self._say(None)
            except Exception as failure:
                # Whatever it is: the morning goes on without a monitor.
                self._say(place_of(failure))
            await asyncio.sleep(every.total_seconds())

    def _setting(self) -> Heartbeat | None:
        try:
            with self._desk.glance() as m:
                return m.district.heartbeat
        except NotSetUp:
            return None

    async def _beat(self, setup: ChannelSetup) -> str | None:
        """Send one; why it did not arrive, if it did not."""
        try:
            channel: Channel = self._make(way_of(setup))
        except ChannelError as error:
            return "; ".join(error.wrongs)
        try:
            handover = await channel.deliver(await asyncio.to_thread(self._parcel))
        finally:
            await channel.close()
        return None if handover.outcome == "accepted" else handover.detail or handover.outcome

    def _parcel(self) -> Parcel:
        at = self._stamp()
        id = f"beat-{self._desk.owner}-{int(at.timestamp())}"
        return Parcel(
            id=id, key=id, to_address="", subject="", lock_line="", text="", html=None, link=None,
            purpose="heartbeat", thread=None, in_reply_to=None, reply_token=None, at=at, give_up_at=None,
            fields=self._fields(at),
        )  # fmt: skip

    def _fields(self, at: datetime) -> Mapping[str, str | int | None]:
        head = sealing.head(self._desk)
        with self._desk.glance() as m:
            figures, state, well = figures_of(m), held(m.tx), health(m)
        return {
            "timestamp": at.isoformat(),
            "instance": self._desk.owner,
            "version": self._version,
            "well": well.is_well,
            "held": state is not None,
            "due": figures.rounds_due,
            "late": figures.late,
            "sent": figures.messages["accepted"],
            "failed": figures.messages["refused"] + figures.messages["timed_out"],
            "open_chases": figures.chases_open,
            "unread": figures.unread,
            "oldest_unsent_seconds": figures.oldest_unsent_seconds,
            "schools_without_rounds": figures.schools_without_rounds,
            "head": str(head) if head else None,
        }

    def _say(self, wrong: str | None) -> None:
        """Once when it breaks, once when it is well again."""
        if wrong != self._wrong:
            if wrong is None:
                log.warning("the heartbeat reaches its monitor again")
            else:
                log.warning("the heartbeat does not reach its monitor: %s", wrong)
        self._wrong = wrong
        self._told(wrong)
