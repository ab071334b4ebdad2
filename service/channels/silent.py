"""A channel that reaches nobody: for rehearsals, tests and districts that are only being tried out."""

from collections.abc import Callable

from service.channels.protocol import Handover, Parcel


def accept(parcel: Parcel) -> Handover:
    """The answer of a receiver that takes everything."""
    return Handover("accepted", f"kept ({parcel.purpose})")


class SilentChannel:
    """A channel without a network: it remembers what it was given, in `parcels`, and answers by `answer`."""

    at_once = 1

    def __init__(self, answer: Callable[[Parcel], Handover] = accept) -> None:
        """Begin with nothing delivered."""
        self.parcels: list[Parcel] = []
        self._answer = answer

    async def deliver(self, parcel: Parcel) -> Handover:
        """Remember the parcel and answer."""
        self.parcels.append(parcel)
        return self._answer(parcel)

    async def probe(self, to_address: str | None = None) -> Handover:
        """Nothing lies on the other side, so it is always there."""
        return Handover("accepted", "no network" if to_address is None else "no network for any address")

    async def close(self) -> None:
        """Keep what was delivered; there is nothing to let go of."""
