"""Claimed messages waiting for a free lane of their channel: every address in its turn."""

from collections import Counter, deque

from service.engine.postman import Errand

TO_ONE_ADDRESS = 2
"""Deliveries under way to one address: a receiver that hangs costs its channel two lanes, not all."""


class Waiting:
    """The queue of one channel. Addresses take turns, and within one the order of claiming is kept."""

    def __init__(self) -> None:
        self._by_address: dict[str, deque[Errand]] = {}
        self._under_way: Counter[str] = Counter()

    def __len__(self) -> int:
        return sum(len(held) for held in self._by_address.values())

    @property
    def under_way(self) -> int:
        """How many deliveries are under way."""
        return self._under_way.total()

    def add(self, errand: Errand) -> None:
        """Put one at the end of its address's line."""
        self._by_address.setdefault(errand.address, deque()).append(errand)

    def take(self) -> Errand | None:
        """The next one that may go now, counted as under way; None where every address is busy."""
        for address in list(self._by_address):
            if self._under_way[address] < TO_ONE_ADDRESS:
                held = self._by_address.pop(address)
                errand = held.popleft()
                if held:
                    self._by_address[address] = held
                self._under_way[address] += 1
                return errand
        return None

    def finished(self, errand: Errand) -> None:
        """A delivery has come to its end, well or badly."""
        self._under_way[errand.address] -= 1
        self._under_way += Counter()

    def empty(self) -> list[Errand]:
        """Everything that still waits, taken out."""
        held = [errand for line in self._by_address.values() for errand in line]
        self._by_address.clear()
        return held
