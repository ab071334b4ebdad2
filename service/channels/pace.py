"""A channel that keeps to a rate: what a receiver takes in a minute is its own rule, and it may shut us out.

Counted per process, on real monotonic time. What is over the rate is not sent but deferred, so that whoever
calls can let a more pressing message go first.
"""

import re
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

from service.channels.protocol import Channel, Handover, Parcel

_RATE = re.compile(r"(\d{1,6})\s*per\s*(second|minute|hour)")
_SECONDS = {"second": 1.0, "minute": 60.0, "hour": 3600.0}


@dataclass(frozen=True)
class Rate:
    """At most `count` messages in any `seconds`."""

    count: int
    seconds: float


def read_rate(text: str) -> Rate:
    """A rate such as `10 per minute`. ValueError when it is not one."""
    found = _RATE.fullmatch(text.strip())
    if found is None or int(found[1]) == 0:
        raise ValueError("write it as 10 per minute")
    return Rate(int(found[1]), _SECONDS[found[2]])


class PacedChannel:
    """Lets at most the rate's messages through to the channel behind it."""

    def __init__(self, behind: Channel, rate: Rate, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._behind = behind
        self._rate = rate
        self._monotonic = monotonic
        self._sent: deque[float] = deque()

    @property
    def at_once(self) -> int:
        """As many as the channel behind carries, and no more than the rate lets through together."""
        return min(self._behind.at_once, self._rate.count)

    async def deliver(self, parcel: Parcel) -> Handover:
        """Deliver now, or say when there will be room."""
        now = self._monotonic()
        while self._sent and now - self._sent[0] >= self._rate.seconds:
            self._sent.popleft()
        if len(self._sent) >= self._rate.count:
            room_in = timedelta(seconds=self._rate.seconds - (now - self._sent[0]))
            return Handover("deferred", "the channel's rate is used up", retry_after=room_in)
        self._sent.append(now)
        return await self._behind.deliver(parcel)

    async def probe(self, to_address: str | None = None) -> Handover:
        """Probe the channel behind; a probe sends no message and does not count."""
        return await self._behind.probe(to_address)

    async def close(self) -> None:
        """Close the channel behind."""
        await self._behind.close()
