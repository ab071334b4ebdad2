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
KEPT = 1000
"""Addresses that are remembered before those to which nothing went lately are forgotten."""

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


class Pace:
    """What was let through within a rate's span, by the clock that is asked."""

    def __init__(self, rate: Rate) -> None:
        self._rate = rate
        self._sent: deque[float] = deque()

    def wait(self, now: float) -> float:
        """Seconds until there is room; 0 where there is."""
        while self._sent and now - self._sent[0] >= self._rate.seconds:
            self._sent.popleft()
        return 0.0 if len(self._sent) < self._rate.count else self._rate.seconds - (now - self._sent[0])

    def count(self, now: float) -> None:
        """One more was let through."""
        self._sent.append(now)

    def is_quiet(self, now: float) -> bool:
        """Whether nothing went through lately, so that it may be forgotten."""
        return self.wait(now) == 0.0 and not self._sent


class PacedChannel:
    """Lets at most `rate` messages through to the channel behind it, and at most `each` to one address."""

    def __init__(
        self,
        behind: Channel,
        rate: Rate | None,
        each: Rate | None = None,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._behind = behind
        self._rate, self._each = rate, each
        self._monotonic = monotonic
        self._whole = Pace(rate) if rate else None
        self._places: dict[str, Pace] = {}

    @property
    def at_once(self) -> int:
        """As many as the channel behind carries, and no more than the rate lets through together."""
        return min(self._behind.at_once, self._rate.count) if self._rate else self._behind.at_once

    async def deliver(self, parcel: Parcel) -> Handover:
        """Deliver now, or say when there will be room."""
        now = self._monotonic()
        paces = self._paces(parcel.to_address, now)
        for pace, whose in paces:
            if (seconds := pace.wait(now)) > 0:
                return Handover("deferred", f"the {whose}'s rate is used up", retry_after=timedelta(seconds=seconds))
        for pace, _ in paces:
            pace.count(now)
        return await self._behind.deliver(parcel)

    def _paces(self, address: str, now: float) -> list[tuple[Pace, str]]:
        paces = [(self._whole, "channel")] if self._whole else []
        if self._each is None:
            return paces
        if address not in self._places and len(self._places) >= KEPT:
            self._places = {known: pace for known, pace in self._places.items() if not pace.is_quiet(now)}
        return [*paces, (self._places.setdefault(address, Pace(self._each)), "address")]

    async def probe(self, to_address: str | None = None) -> Handover:
        """Probe the channel behind; a probe sends no message and does not count."""
        return await self._behind.probe(to_address)

    async def close(self) -> None:
        """Close the channel behind."""
        await self._behind.close()
