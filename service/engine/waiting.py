"""Claimed messages waiting for a free lane of their channel: every address in its turn."""

import time
from collections import deque
from collections.abc import Callable

from service.engine.postman import Errand

TO_ONE_ADDRESS = 2
"""Deliveries under way to one address: a receiver that hangs costs its channel two lanes, not all."""

HELD_OF_ONE_ADDRESS = 8
"""Messages to one address claimed at a time. What a receiver that hangs is still to get stays in the outbox, where it
is in nobody's way; eight attempts of ten seconds, two at a time, end within a lease.
"""

SLOW_SECONDS = 1.0
"""A delivery under way for this long is a sign that its receiver hangs."""


class Waiting:
    """The queue of one channel. Addresses take turns, and within one the order of claiming is kept."""

    def __init__(self, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._monotonic = monotonic
        self._by_address: dict[str, deque[Errand]] = {}
        self._under_way: dict[str, dict[str, float]] = {}
        self._not_before: dict[str, float] = {}

    @property
    def under_way(self) -> int:
        """How many deliveries are under way."""
        return sum(len(held) for held in self._under_way.values())

    @property
    def ready(self) -> int:
        """How many wait for addresses that are not slow at this moment: the others take up no room."""
        since = self._monotonic() - SLOW_SECONDS
        return sum(len(held) for address, held in self._by_address.items() if not self._is_slow(address, since))

    def held(self) -> dict[str, int]:
        """How many messages to each address wait or are under way."""
        addresses = {*self._by_address, *self._under_way}
        return {a: len(self._by_address.get(a, ())) + len(self._under_way.get(a, ())) for a in addresses}

    def add(self, errand: Errand) -> None:
        """Put one at the end of its address's line."""
        self._by_address.setdefault(errand.address, deque()).append(errand)

    def take(self) -> Errand | None:
        """The next one that may go now, counted as under way; None where every address is busy."""
        now = self._monotonic()
        for address in list(self._by_address):
            if len(self._under_way.get(address, ())) < TO_ONE_ADDRESS and self._may_go(address, now):
                held = self._by_address.pop(address)
                errand = held.popleft()
                if held:
                    self._by_address[address] = held
                self._under_way.setdefault(address, {})[errand.id] = now
                return errand
        return None

    def finished(self, errand: Errand) -> None:
        """A delivery has come to its end, well or badly."""
        held = self._under_way.get(errand.address, {})
        held.pop(errand.id, None)
        if not held:
            self._under_way.pop(errand.address, None)

    def put_off(self, errand: Errand, seconds: float) -> None:
        """A delivery that was not made: its address takes none before then, and this one comes first."""
        self.finished(errand)
        self._not_before[errand.address] = self._monotonic() + seconds
        self._by_address.setdefault(errand.address, deque()).appendleft(errand)

    def empty(self) -> list[Errand]:
        """Everything that still waits, taken out."""
        held = [errand for line in self._by_address.values() for errand in line]
        self._by_address.clear()
        return held

    def _may_go(self, address: str, now: float) -> bool:
        if self._not_before.get(address, now) > now:
            return False
        self._not_before.pop(address, None)
        return True

    def _is_slow(self, address: str, since: float) -> bool:
        return any(begun < since for begun in self._under_way.get(address, {}).values())
